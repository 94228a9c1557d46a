package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.view.View
import gritbook.shell.R

/**
 * A chance as 100 small squares: as many filled as the chance has percent. The squares that the interval spans have a heavy edge and
 * a line under them, those beyond it a thin edge.
 */
class CallChanceView(context: Context) : View(context) {
    private val look = Look(context)
    private val solid = look.brush(look.ink)
    private val heavy = look.pen(look.ink, look.dp(1.75f)).apply { strokeJoin = android.graphics.Paint.Join.MITER }
    private val thin = look.pen(look.pencil, look.dp(0.75f)).apply { strokeJoin = android.graphics.Paint.Join.MITER }
    private val span = look.pen(look.violet, look.line)

    /** Squares filled, 0 to 100. */
    var filled = 0
        private set
    private var low = 0
    private var high = 0

    /** Chances 0 to 1, the chance itself and its interval. */
    fun show(chance: Double, low: Double, high: Double): CallChanceView {
        require(chance in 0.0..1.0 && low in 0.0..1.0 && high in 0.0..1.0 && low <= high) { "chance $chance in $low to $high" }
        filled = percent(chance)
        this.low = percent(low)
        this.high = percent(high)
        contentDescription = context.getString(R.string.chance_says, filled, this.low, this.high)
        invalidate()
        return this
    }

    private fun percent(share: Double) = Math.round(share * 100).toInt()

    /** One row of 100 where squares stay at least [SQUARE_MM], else rows of 50, 25 or 20. */
    private fun columns(width: Int): Int = listOf(100, 50, 25).firstOrNull { width / it >= look.mm(SQUARE_MM) } ?: 20

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = resolveSize(look.dp(328f).toInt(), widthSpec)
        val columns = columns(width)
        setMeasuredDimension(width, resolveSize((100 / columns * rowHeight(width, columns)).toInt(), heightSpec))
    }

    private fun rowHeight(width: Int, columns: Int) = width.toFloat() / columns + look.dp(SPAN_DP)

    override fun onDraw(canvas: Canvas) {
        val columns = columns(width)
        val cell = width.toFloat() / columns
        val gap = cell * 0.14f
        for (at in 0 until 100) {
            val x = at % columns * cell
            val y = at / columns * rowHeight(width, columns)
            val number = at + 1
            val unsure = number in low + 1..high
            val edge = if (number <= filled || unsure) heavy else thin
            val inset = gap + edge.strokeWidth / 2
            if (number <= filled) canvas.drawRect(x + gap, y + gap, x + cell - gap, y + cell - gap, solid)
            canvas.drawRect(x + inset, y + inset, x + cell - inset, y + cell - inset, edge)
            // The interval, as a line under its squares.
            if (unsure) canvas.drawLine(x + gap, y + cell + look.dp(1f), x + cell - gap, y + cell + look.dp(1f), span)
        }
    }

    private companion object {
        const val SQUARE_MM = 1.9f
        const val SPAN_DP = 5f
    }
}

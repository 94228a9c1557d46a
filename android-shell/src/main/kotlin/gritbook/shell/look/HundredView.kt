package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.Paint
import android.graphics.Path
import android.view.View

/**
 * A hundred pours as a patch of ten by ten squares, counted from below: filled as many as failed, framed as many as were said to. Squares
 * that the number of calls leaves open have a heavy edge, the others a thin one. Words beside it say the same.
 */
class HundredView(context: Context) : View(context) {
    private val look = Look(context)
    private val solid = look.brush(look.ink)
    private val heavy = look.pen(look.ink, look.dp(1.75f)).apply { strokeJoin = Paint.Join.MITER }
    private val thin = look.pen(look.pencil, look.dp(0.75f)).apply { strokeJoin = Paint.Join.MITER }
    private val said = look.pen(look.violet, look.dp(3f)).apply { strokeJoin = Paint.Join.MITER }
    private val frame = Path()
    private var told = 0f
    private var was = 0f
    private var open = 0f..0f

    init {
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    /** All 0 to 1: what was said, what happened, and between what it may lie in the long run. */
    fun show(said: Double, was: Double, low: Double, high: Double): HundredView {
        require(listOf(said, was, low, high).all { it in 0.0..1.0 } && low <= high) { "$said $was $low $high" }
        told = (said * 100).toFloat()
        this.was = (was * 100).toFloat()
        open = (low * 100).toFloat()..(high * 100).toFloat()
        invalidate()
        return this
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val side = minOf(resolveSize(look.mm(SIDE_MM).toInt(), widthSpec), look.mm(SIDE_MM).toInt())
        setMeasuredDimension(side, side)
    }

    override fun onDraw(canvas: Canvas) {
        val edge = said.strokeWidth / 2
        val cell = (width - said.strokeWidth) / 10f
        val foot = height - edge
        val gap = cell * 0.12f
        for (at in 0 until 100) {
            val x = edge + at % 10 * cell
            val y = foot - (at / 10 + 1) * cell
            val full = (was - at).coerceIn(0f, 1f)
            val number = at + 0.5f
            val pen = if (number in open || full > 0f) heavy else thin
            val inset = gap + pen.strokeWidth / 2
            if (full > 0f) canvas.drawRect(x + gap, y + gap, x + gap + (cell - 2 * gap) * full, y + cell - gap, solid)
            canvas.drawRect(x + inset, y + inset, x + cell - inset, y + cell - inset, pen)
        }
        val rows = (told / 10).toInt()
        val rest = told - rows * 10
        frame.rewind()
        frame.moveTo(edge, foot)
        if (rows > 0) frame.lineTo(edge + 10 * cell, foot)
        if (rows > 0) frame.lineTo(edge + 10 * cell, foot - rows * cell)
        frame.lineTo(edge + rest * cell, foot - rows * cell)
        if (rest > 0f) {
            frame.lineTo(edge + rest * cell, foot - (rows + 1) * cell)
            frame.lineTo(edge, foot - (rows + 1) * cell)
        } else {
            frame.lineTo(edge, foot - rows * cell)
        }
        frame.close()
        canvas.drawPath(frame, said)
    }

    private companion object {
        const val SIDE_MM = 20f
    }
}

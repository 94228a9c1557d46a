package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.Paint
import android.view.View

/** A few calls, one square each: filled where a cup failed. For so few that a share would say more than is known. */
class TallyView(context: Context) : View(context) {
    private val look = Look(context)
    private val solid = look.brush(look.ink)
    private val edge = look.pen(look.ink, look.dp(1.5f)).apply { strokeJoin = Paint.Join.MITER }
    private var calls = 0
    private var failed = 0

    init {
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    fun show(calls: Int, failed: Int): TallyView {
        require(failed in 0..calls) { "$failed of $calls" }
        this.calls = calls
        this.failed = failed
        requestLayout()
        return this
    }

    private fun cell() = look.mm(CELL_MM)

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        setMeasuredDimension(resolveSize((cell() * calls).toInt(), widthSpec), resolveSize(cell().toInt(), heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val cell = minOf(cell(), width / calls.coerceAtLeast(1).toFloat())
        val gap = cell * 0.1f
        val half = edge.strokeWidth / 2
        for (at in 0 until calls) {
            val x = at * cell
            if (at < failed) canvas.drawRect(x + gap, gap, x + cell - gap, cell - gap, solid)
            canvas.drawRect(x + gap + half, gap + half, x + cell - gap - half, cell - gap - half, edge)
        }
    }

    private companion object {
        const val CELL_MM = 3.4f
    }
}

package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.Paint
import android.view.View

/** A share as ten squares in a row, filled from the left as far as it reaches; words beside it say the same. */
class ShareView(context: Context) : View(context) {
    private val look = Look(context)
    private val solid = look.brush(look.ink)
    private val edge = look.pen(look.ink, look.dp(1.5f)).apply { strokeJoin = Paint.Join.MITER }

    /** 0 to 1. */
    var share = 0.0
        private set

    init {
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    fun show(share: Double): ShareView {
        require(share in 0.0..1.0) { "share $share" }
        this.share = share
        invalidate()
        return this
    }

    private fun cell(width: Int) = minOf(width / SQUARES.toFloat(), look.mm(CELL_MM))

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = resolveSize(look.mm(CELL_MM * SQUARES).toInt(), widthSpec)
        setMeasuredDimension(width, resolveSize(Math.ceil(cell(width).toDouble()).toInt(), heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val cell = cell(width)
        val gap = cell * 0.1f
        val half = edge.strokeWidth / 2
        for (at in 0 until SQUARES) {
            val (left, right) = at * cell + gap to (at + 1) * cell - gap
            val full = (share * SQUARES - at).coerceIn(0.0, 1.0).toFloat()
            if (full > 0) canvas.drawRect(left, gap, left + (right - left) * full, cell - gap, solid)
            canvas.drawRect(left + half, gap + half, right - half, cell - gap - half, edge)
        }
    }

    private companion object {
        const val SQUARES = 10
        const val CELL_MM = 3.2f
    }
}

package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.Paint
import android.graphics.Path
import android.view.View

/** One look into the box on a rail with those before and after it: ticked where it was taken, ringed twice where it is due, empty until then. */
class LookRailView(context: Context, private val state: State, private val first: Boolean, private val last: Boolean) : View(context) {
    enum class State { DONE, DUE, LATER }

    private val look = Look(context)
    private val ink = look.pen(look.ink)
    private val solid = look.brush(look.ink)
    private val paper = look.pen(look.paper, look.dp(3f))
    private val thin = look.pen(look.pencil)
    private val violet = look.pen(look.violet, look.dp(3.5f))
    private val dot = look.brush(look.violet)
    private val dashed = look.pen(look.pencil).apply { pathEffect = android.graphics.DashPathEffect(floatArrayOf(look.dp(3f), look.dp(4f)), 0f); strokeCap = Paint.Cap.BUTT }
    private val tick = Path()

    init {
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val side = look.mm(8f).toInt()
        setMeasuredDimension(resolveSize(side, widthSpec), resolveSize(side, heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val (x, y) = width / 2f to look.mm(4f)
        val radius = look.mm(3f)
        val rail = if (state == State.DONE) ink else dashed
        if (!first) canvas.drawLine(x, 0f, x, y - radius, if (state == State.LATER) dashed else ink)
        if (!last) canvas.drawLine(x, y + radius, x, height.toFloat(), rail)
        when (state) {
            State.DONE -> {
                canvas.drawCircle(x, y, radius, solid)
                tick.rewind()
                tick.moveTo(x - radius * 0.5f, y)
                tick.lineTo(x - radius * 0.1f, y + radius * 0.42f)
                tick.lineTo(x + radius * 0.55f, y - radius * 0.42f)
                canvas.drawPath(tick, paper)
            }
            State.DUE -> {
                canvas.drawCircle(x, y, radius - violet.strokeWidth / 2, violet)
                canvas.drawCircle(x, y, radius * 0.35f, dot)
            }
            State.LATER -> canvas.drawCircle(x, y, radius - thin.strokeWidth / 2, thin)
        }
    }
}

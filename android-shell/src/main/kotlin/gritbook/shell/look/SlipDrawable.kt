package gritbook.shell.look

import android.graphics.Canvas
import android.graphics.ColorFilter
import android.graphics.Paint
import android.graphics.Path
import android.graphics.PixelFormat
import android.graphics.Rect
import android.graphics.drawable.Drawable

/**
 * A slip of paper with a folded corner: the ground of everything that can be pressed.
 *
 * Pressed it turns to ink; focused (keys, switch access) it has a second line; off it has a dashed edge. State never
 * shows by colour alone.
 */
class SlipDrawable(private val look: Look, private val kind: Kind) : Drawable() {
    /** What the slip stands for. */
    enum class Kind {
        /** The one thing to do next: filled. */
        PRIMARY,

        /** Something else that may be done: outlined. */
        QUIET,

        /** One of several answers: outlined, filled when selected. */
        CHOICE,
    }

    private val fill = look.brush(look.paper)
    private val edge = look.pen(look.violet)
    private val outline = Path()
    private val fold = Path()
    private val focusRing = Path()
    private val dashes = android.graphics.DashPathEffect(floatArrayOf(look.dp(4f), look.dp(4f)), 0f)

    override fun isStateful() = true

    override fun onStateChange(state: IntArray): Boolean {
        invalidateSelf()
        return true
    }

    private fun has(attribute: Int) = state.contains(attribute)

    override fun onBoundsChange(bounds: Rect) {
        shape(outline, bounds, look.line / 2)
        val ear = earIn(bounds)
        fold.rewind()
        fold.moveTo(bounds.right - ear, bounds.top + look.line / 2)
        fold.lineTo(bounds.right - ear, bounds.top + ear)
        fold.lineTo(bounds.right - look.line / 2, bounds.top + ear)
        shape(focusRing, bounds, look.dp(6f))
    }

    private fun earIn(bounds: Rect) = minOf(look.context.resources.getDimension(gritbook.shell.R.dimen.dog_ear), bounds.height() / 3f)

    private fun shape(path: Path, bounds: Rect, inset: Float) {
        val ear = earIn(bounds)
        path.rewind()
        path.moveTo(bounds.left + inset, bounds.top + inset)
        path.lineTo(bounds.right - ear, bounds.top + inset)
        path.lineTo(bounds.right - inset, bounds.top + ear)
        path.lineTo(bounds.right - inset, bounds.bottom - inset)
        path.lineTo(bounds.left + inset, bounds.bottom - inset)
        path.close()
    }

    override fun draw(canvas: Canvas) {
        val on = has(android.R.attr.state_enabled)
        val pressed = on && has(android.R.attr.state_pressed)
        val chosen = has(android.R.attr.state_selected) || has(android.R.attr.state_checked)
        val filled = on && (kind == Kind.PRIMARY || chosen)
        fill.color = when {
            pressed -> look.ink
            filled -> look.violet
            else -> look.paper
        }
        edge.color = when {
            !on -> look.pencil
            pressed -> look.ink
            else -> look.violet
        }
        edge.pathEffect = if (on) null else dashes
        canvas.drawPath(outline, fill)
        canvas.drawPath(outline, edge)
        edge.pathEffect = null
        if (pressed || filled) edge.color = look.paper
        canvas.drawPath(fold, edge)
        if (has(android.R.attr.state_focused)) {
            edge.color = if (pressed || filled) look.onViolet else look.violet
            canvas.drawPath(focusRing, edge)
        }
    }

    override fun setAlpha(alpha: Int) {
        fill.alpha = alpha
        edge.alpha = alpha
    }

    override fun setColorFilter(colorFilter: ColorFilter?) {
        fill.colorFilter = colorFilter
        edge.colorFilter = colorFilter
    }

    @Deprecated("Deprecated in Java")
    override fun getOpacity() = PixelFormat.TRANSLUCENT
}

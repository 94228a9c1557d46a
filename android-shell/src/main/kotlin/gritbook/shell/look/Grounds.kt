package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.ColorFilter
import android.graphics.Path
import android.graphics.PixelFormat
import android.graphics.drawable.Drawable
import android.view.View
import android.widget.LinearLayout

/** A drawable that is only drawn: no alpha, no filter. */
abstract class PlainDrawable : Drawable() {
    override fun setAlpha(alpha: Int) = Unit

    override fun setColorFilter(colorFilter: ColorFilter?) = Unit

    @Deprecated("Deprecated in Java")
    override fun getOpacity() = PixelFormat.TRANSLUCENT
}

/** Where something is written: the ground of a field over its line, violet and double while writing. */
class WritingLine(private val look: Look) : PlainDrawable() {
    private val ground = look.brush(look.ground)
    private val line = android.graphics.Paint()

    override fun isStateful() = true

    override fun onStateChange(state: IntArray): Boolean {
        invalidateSelf()
        return true
    }

    override fun draw(canvas: Canvas) {
        val writing = state.contains(android.R.attr.state_focused)
        canvas.drawRect(bounds, ground)
        line.color = if (writing) look.violet else look.ink
        val width = if (writing) look.line * 2 else look.line
        canvas.drawRect(bounds.left.toFloat(), bounds.bottom - width, bounds.right.toFloat(), bounds.bottom.toFloat(), line)
    }
}

/** A frame around something. */
class FrameGround(private val look: Look, colour: Int) : PlainDrawable() {
    private val pen = look.pen(colour)

    override fun draw(canvas: Canvas) {
        val half = look.line / 2
        canvas.drawRect(bounds.left + half, bounds.top + half, bounds.right - half, bounds.bottom - half, pen)
    }
}

/** A line under words, as drawn with a ruler. */
class UnderlineDrawable(colour: Int, private val width: Float) : PlainDrawable() {
    private val brush = android.graphics.Paint().apply { color = colour }

    override fun draw(canvas: Canvas) {
        canvas.drawRect(bounds.left.toFloat(), bounds.bottom - width, bounds.right.toFloat(), bounds.bottom.toFloat(), brush)
    }
}

/** Nothing, of a size: the gap between two children. */
class GapDrawable(private val size: Int, private val way: Int) : PlainDrawable() {
    override fun draw(canvas: Canvas) = Unit

    override fun getIntrinsicWidth() = if (way == LinearLayout.HORIZONTAL) size else -1

    override fun getIntrinsicHeight() = if (way == LinearLayout.VERTICAL) size else -1
}

/** The ground of a list's line: a hairline below; pressed or focused, a frame of violet. */
class RowDrawable(private val look: Look, private val touchable: Boolean) : PlainDrawable() {
    private val below = android.graphics.Paint().apply { color = look.rule }
    private val pressedGround = look.brush(look.ground)
    private val frame = look.pen(look.violet)

    override fun isStateful() = touchable

    override fun onStateChange(state: IntArray): Boolean {
        invalidateSelf()
        return true
    }

    override fun draw(canvas: Canvas) {
        val pressed = state.contains(android.R.attr.state_pressed)
        if (pressed) canvas.drawRect(bounds, pressedGround)
        canvas.drawRect(bounds.left.toFloat(), bounds.bottom - look.hairline, bounds.right.toFloat(), bounds.bottom.toFloat(), below)
        if (touchable && (pressed || state.contains(android.R.attr.state_focused))) {
            val in_ = look.line / 2
            canvas.drawRect(bounds.left + in_, bounds.top + in_, bounds.right - in_, bounds.bottom - in_, frame)
        }
    }
}

/** The sign that a line opens something. */
class ArrowView(context: Context) : View(context) {
    private val look = Look(context)
    private val pen = look.pen(look.violet, look.dp(2.5f))
    private val path = Path()

    init {
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    override fun onDraw(canvas: Canvas) {
        val reach = look.dp(6f)
        path.rewind()
        path.moveTo(width / 2f - reach / 2, height / 2f - reach)
        path.lineTo(width / 2f + reach / 2, height / 2f)
        path.lineTo(width / 2f - reach / 2, height / 2f + reach)
        canvas.drawPath(path, pen)
    }
}

/** The way back, or [onward], as an arrow; touched or focused it has a frame. */
class BackArrow(private val look: Look, private val onward: Boolean = false) : PlainDrawable() {
    private val pen = look.pen(look.violet, look.dp(3f))
    private val path = Path()

    override fun isStateful() = true

    override fun onStateChange(state: IntArray): Boolean {
        invalidateSelf()
        return true
    }

    override fun draw(canvas: Canvas) {
        val x = bounds.exactCenterX()
        val y = bounds.exactCenterY()
        val reach = look.dp(12f) * if (onward) -1 else 1
        path.rewind()
        path.moveTo(x, y - reach)
        path.lineTo(x - reach, y)
        path.lineTo(x, y + reach)
        path.moveTo(x - reach, y)
        path.lineTo(x + reach * 1.3f, y)
        canvas.drawPath(path, pen)
        if (state.contains(android.R.attr.state_pressed) || state.contains(android.R.attr.state_focused)) {
            val inset = look.dp(6f)
            canvas.drawRect(bounds.left + inset, bounds.top + inset, bounds.right - inset, bounds.bottom - inset, pen)
        }
    }
}

/** The sign of taking back: an arrow that turns round. */
class TakeBackSign(private val look: Look) : PlainDrawable() {
    private val pen = look.pen(look.violet, look.dp(3f))
    private val path = Path()

    override fun draw(canvas: Canvas) {
        val x = bounds.exactCenterX()
        val y = bounds.exactCenterY()
        val reach = look.dp(14f)
        path.rewind()
        path.moveTo(x - reach, y - reach * 0.5f)
        path.lineTo(x + reach * 0.4f, y - reach * 0.5f)
        path.arcTo(x - reach * 0.3f, y - reach * 0.5f, x + reach * 1.1f, y + reach * 0.9f, -90f, 180f, false)
        path.lineTo(x - reach * 0.5f, y + reach * 0.9f)
        path.moveTo(x - reach * 0.4f, y - reach * 1.1f)
        path.lineTo(x - reach, y - reach * 0.5f)
        path.lineTo(x - reach * 0.4f, y + reach * 0.1f)
        canvas.drawPath(path, pen)
    }
}

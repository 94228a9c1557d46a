package gritbook.shell.look

import android.graphics.Canvas
import android.graphics.ColorFilter
import android.graphics.Path
import android.graphics.PixelFormat
import android.graphics.drawable.Drawable

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

/** Nothing, of a width: the gap between two that stand side by side. */
class GapDrawable(private val width: Int) : PlainDrawable() {
    override fun draw(canvas: Canvas) = Unit

    override fun getIntrinsicWidth() = width
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

/** The sign of photographing: a camera from the front. */
class CameraSign(private val look: Look) : PlainDrawable() {
    private val pen = look.pen(look.violet, look.dp(3f))

    override fun draw(canvas: Canvas) {
        val x = bounds.exactCenterX()
        val y = bounds.exactCenterY()
        val half = look.dp(18f)
        canvas.drawRect(x - half, y - half * 0.55f, x + half, y + half * 0.85f, pen)
        canvas.drawRect(x - half * 0.4f, y - half * 0.85f, x + half * 0.4f, y - half * 0.55f, pen)
        canvas.drawCircle(x, y + half * 0.15f, half * 0.42f, pen)
    }
}

/** The sign of measuring a bore: its round with a line across, an end at each wall. */
class GaugeSign(private val look: Look) : PlainDrawable() {
    private val pen = look.pen(look.violet, look.dp(3f))

    override fun draw(canvas: Canvas) {
        val x = bounds.exactCenterX()
        val y = bounds.exactCenterY()
        val half = look.dp(17f)
        val end = look.dp(5f)
        canvas.drawCircle(x, y, half, pen)
        canvas.drawLine(x - half, y, x + half, y, pen)
        for (side in listOf(-1f, 1f)) canvas.drawLine(x + side * (half - end), y - end, x + side * (half - end), y + end, pen)
    }
}

package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.graphics.RectF
import android.os.Bundle
import android.os.Parcelable
import android.view.KeyEvent
import android.view.MotionEvent
import android.view.accessibility.AccessibilityNodeInfo
import android.view.accessibility.AccessibilityNodeInfo.AccessibilityAction
import gritbook.shell.R
import kotlin.math.hypot

/**
 * A photo with two crosses to lay on a ruler. A thumb anywhere near a cross moves it from where it is, so that it does not
 * cover it; a loupe in the far corner shows what lies under it.
 */
class RulerPhotoView(context: Context) : PhotoPane(context) {
    /** The crosses in px of the upright photo: x and y of the first, x and y of the second. */
    val pointsPx = FloatArray(4)

    /** Hears every move. */
    var onPoints: (FloatArray) -> Unit = {}

    /** The cross that keys and a screen reader move. */
    var active = 0
        private set

    private var held: Int? = null
    private var lastX = 0f
    private var lastY = 0f
    private var placed = false
    private val halo = look.pen(look.paper, look.dp(5f))
    private val ink = look.pen(look.violet, look.dp(2f))
    private val frame = look.pen(look.ink, look.line * 1.5f)
    private val round = Path()
    private val onto = RectF()

    /** Which crosses somebody laid; the others stand where they began and mean nothing. */
    val laid = BooleanArray(2)

    /** How far apart the crosses are, photo px. */
    val apartPx: Float get() = hypot(pointsPx[2] - pointsPx[0], pointsPx[3] - pointsPx[1])

    /** Puts the crosses where they were laid. */
    fun put(points: FloatArray, laidFirst: Boolean = true, laidSecond: Boolean = true) {
        require(points.size == 4) { "two points" }
        points.copyInto(pointsPx)
        laid[0] = laidFirst
        laid[1] = laidSecond
        placed = true
        say()
        invalidate()
    }

    override fun showsPhoto() {
        val photo = photo ?: return
        if (!placed) put(floatArrayOf(photo.widthPx * 0.3f, photo.heightPx * 0.5f, photo.widthPx * 0.7f, photo.heightPx * 0.5f), laidFirst = false, laidSecond = false)
    }

    private fun say() {
        contentDescription = context.getString(R.string.ruler_says, Math.round(apartPx)) + ". " +
            context.getString(if (active == 0) R.string.ruler_first else R.string.ruler_second)
    }

    private fun x(cross: Int) = place.toViewX(pointsPx[2 * cross])

    private fun y(cross: Int) = place.toViewY(pointsPx[2 * cross + 1])

    /** The cross that a thumb at a point of the view takes hold of. */
    fun crossAt(x: Float, y: Float): Int? {
        val nearest = if (hypot(x - x(0), y - y(0)) <= hypot(x - x(1), y - y(1))) 0 else 1
        return nearest.takeIf { hypot(x - x(it), y - y(it)) <= look.touch / 2f }
    }

    private fun move(cross: Int, dxPx: Float, dyPx: Float) {
        val photo = photo ?: return
        pointsPx[2 * cross] = (pointsPx[2 * cross] + dxPx).coerceIn(0f, photo.widthPx.toFloat())
        laid[cross] = true
        pointsPx[2 * cross + 1] = (pointsPx[2 * cross + 1] + dyPx).coerceIn(0f, photo.heightPx.toFloat())
        say()
        invalidate()
        onPoints(pointsPx.copyOf())
    }

    @Suppress("ClickableViewAccessibility")
    override fun onTouchEvent(event: MotionEvent): Boolean {
        when (event.actionMasked) {
            MotionEvent.ACTION_DOWN -> held = crossAt(event.x, event.y)?.also {
                active = it
                say()
                parent?.requestDisallowInterceptTouchEvent(true)
            }
            // A second finger means the photo, not the cross.
            MotionEvent.ACTION_POINTER_DOWN -> held = null
        }
        val cross = held ?: return super.onTouchEvent(event)
        when (event.actionMasked) {
            MotionEvent.ACTION_MOVE -> move(cross, (event.x - lastX) / place.scale, (event.y - lastY) / place.scale)
            MotionEvent.ACTION_UP, MotionEvent.ACTION_CANCEL -> held = null
        }
        lastX = event.x
        lastY = event.y
        invalidate()
        return true
    }

    override fun drawOver(canvas: Canvas) {
        canvas.drawLine(x(0), y(0), x(1), y(1), halo)
        canvas.drawLine(x(0), y(0), x(1), y(1), ink)
        for (cross in 0..1) for (pen in listOf(halo, ink)) cross(canvas, x(cross), y(cross), look.dp(if (cross == active) 22f else 16f), pen)
        // A cross that nobody has laid yet has a ring to be taken by.
        for (cross in 0..1) if (!laid[cross]) for (pen in listOf(halo, ink)) canvas.drawCircle(x(cross), y(cross), look.dp(22f), pen)
        held?.let { loupe(canvas, it) }
    }

    /** A cross that is open in the middle: what it lies on is seen. */
    private fun cross(canvas: Canvas, x: Float, y: Float, reach: Float, pen: android.graphics.Paint) {
        val open = look.dp(4f)
        canvas.drawLine(x - reach, y, x - open, y, pen)
        canvas.drawLine(x + open, y, x + reach, y, pen)
        canvas.drawLine(x, y - reach, x, y - open, pen)
        canvas.drawLine(x, y + open, x, y + reach, pen)
    }

    private fun loupe(canvas: Canvas, cross: Int) {
        val photo = photo ?: return
        val radius = minOf(look.mm(LOUPE_MM), minOf(width, height) / 3.2f)
        val edge = radius + look.dp(8f)
        // In the upper corner away from the thumb.
        val x = if (x(cross) < width / 2f) width - edge else edge
        val y = edge
        round.rewind()
        round.addCircle(x, y, radius, Path.Direction.CW)
        canvas.save()
        canvas.clipPath(round)
        canvas.drawColor(look.ground)
        val scale = place.scale * LOUPE_TIMES
        val left = x - pointsPx[2 * cross] * scale
        val top = y - pointsPx[2 * cross + 1] * scale
        onto.set(left, top, left + photo.widthPx * scale, top + photo.heightPx * scale)
        canvas.drawBitmap(photo.bitmap, null, onto, null)
        for (pen in listOf(halo, ink)) cross(canvas, x, y, radius * 0.8f, pen)
        canvas.restore()
        canvas.drawCircle(x, y, radius, frame)
    }

    override fun onKeyDown(keyCode: Int, event: KeyEvent): Boolean {
        val step = 1f / place.scale * if (event.repeatCount > 0) 6f else 1f
        when (keyCode) {
            KeyEvent.KEYCODE_DPAD_LEFT -> move(active, -step, 0f)
            KeyEvent.KEYCODE_DPAD_RIGHT -> move(active, step, 0f)
            KeyEvent.KEYCODE_DPAD_UP -> move(active, 0f, -step)
            KeyEvent.KEYCODE_DPAD_DOWN -> move(active, 0f, step)
            KeyEvent.KEYCODE_DPAD_CENTER, KeyEvent.KEYCODE_ENTER, KeyEvent.KEYCODE_SPACE -> other()
            KeyEvent.KEYCODE_PLUS, KeyEvent.KEYCODE_EQUALS -> closer()
            KeyEvent.KEYCODE_MINUS -> whole()
            else -> return super.onKeyDown(keyCode, event)
        }
        return true
    }

    private fun other() {
        active = 1 - active
        say()
        invalidate()
    }

    override fun onInitializeAccessibilityNodeInfo(info: AccessibilityNodeInfo) {
        super.onInitializeAccessibilityNodeInfo(info)
        info.className = "android.widget.ImageView"
        for ((id, word) in moves) info.addAction(AccessibilityAction(id, context.getString(word)))
        info.addAction(AccessibilityAction(AccessibilityNodeInfo.ACTION_CLICK, context.getString(if (active == 0) R.string.ruler_second else R.string.ruler_first)))
    }

    override fun performAccessibilityAction(action: Int, arguments: Bundle?): Boolean {
        val step = (photo?.widthPx ?: return super.performAccessibilityAction(action, arguments)) / 200f
        when (action) {
            R.id.ruler_left -> move(active, -step, 0f)
            R.id.ruler_right -> move(active, step, 0f)
            R.id.ruler_up -> move(active, 0f, -step)
            R.id.ruler_down -> move(active, 0f, step)
            AccessibilityNodeInfo.ACTION_CLICK -> other()
            else -> return super.performAccessibilityAction(action, arguments)
        }
        return true
    }

    override fun onSaveInstanceState(): Parcelable = (super.onSaveInstanceState() as Bundle).apply {
        if (placed) putFloatArray("points", pointsPx)
        putBooleanArray("laid", laid)
        putInt("active", active)
    }

    override fun onRestoreInstanceState(state: Parcelable?) {
        super.onRestoreInstanceState(state)
        (state as? Bundle)?.run {
            active = getInt("active").coerceIn(0, 1)
            getFloatArray("points")?.let { put(it, getBooleanArray("laid")?.get(0) == true, getBooleanArray("laid")?.get(1) == true) }
        }
    }

    private companion object {
        const val LOUPE_MM = 11f
        const val LOUPE_TIMES = 3f
        val moves = listOf(
            R.id.ruler_left to R.string.ruler_left, R.id.ruler_right to R.string.ruler_right,
            R.id.ruler_up to R.string.ruler_up, R.id.ruler_down to R.string.ruler_down,
        )
    }
}

package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.os.Bundle
import android.view.MotionEvent
import android.view.accessibility.AccessibilityNodeInfo
import android.view.accessibility.AccessibilityNodeInfo.AccessibilityAction
import gritbook.shell.R
import kotlin.math.hypot

/** A photo that one finger draws an outline on, once round; two fingers spread it. Drawn again, the new one takes the old one's place. */
class OutlinePhotoView(context: Context) : PhotoPane(context) {
    /** Corners in px of the upright photo, x and y in turn; empty where none was drawn. */
    var outlinePx: List<Float> = emptyList()
        private set

    /** Hears each outline once it is drawn to its end. */
    var onOutline: (List<Float>) -> Unit = {}

    private var drawing: ArrayList<Float>? = null
    private val path = Path()
    private val halo = look.pen(look.paper, look.dp(6f))
    private val ink = look.pen(look.violet, look.dp(3f))

    init {
        say()
    }

    /** Shows an outline that was drawn before. */
    fun put(outline: List<Float>) {
        outlinePx = outline
        say()
        invalidate()
    }

    /** All of the photo but its edge: for what fills the picture, and for who cannot draw. */
    fun allOfIt() {
        val photo = photo ?: return
        val (left, top) = photo.widthPx * EDGE_LEFT to photo.heightPx * EDGE_LEFT
        val (right, bottom) = photo.widthPx - left to photo.heightPx - top
        drawn(listOf(left, top, right, top, right, bottom, left, bottom))
    }

    private fun drawn(outline: List<Float>) {
        put(outline)
        onOutline(outline)
    }

    private fun say() {
        contentDescription = context.getString(if (outlinePx.isEmpty()) R.string.outline_none else R.string.outline_drawn)
    }

    @Suppress("ClickableViewAccessibility")
    override fun onTouchEvent(event: MotionEvent): Boolean {
        val photo = photo ?: return super.onTouchEvent(event)
        when (event.actionMasked) {
            MotionEvent.ACTION_DOWN -> {
                drawing = ArrayList()
                parent?.requestDisallowInterceptTouchEvent(true)
            }
            // A second finger means the photo.
            MotionEvent.ACTION_POINTER_DOWN -> drawing = null
        }
        val line = drawing ?: return super.onTouchEvent(event).also { invalidate() }
        fun take(x: Float, y: Float) {
            val (px, py) = place.toPhotoX(x).coerceIn(0f, photo.widthPx.toFloat()) to place.toPhotoY(y).coerceIn(0f, photo.heightPx.toFloat())
            val far = line.size < 2 || hypot(px - line[line.size - 2], py - line[line.size - 1]) * place.scale >= look.dp(STEP_DP)
            if (far) line += listOf(px, py)
        }
        for (at in 0 until event.historySize) take(event.getHistoricalX(at), event.getHistoricalY(at))
        take(event.x, event.y)
        when (event.actionMasked) {
            MotionEvent.ACTION_UP -> {
                drawing = null
                // A tap outlines nothing; what was drawn before stays.
                if (line.size >= 2 * LEAST) drawn(HandOutline.closed(line))
            }
            MotionEvent.ACTION_CANCEL -> drawing = null
        }
        invalidate()
        return true
    }

    override fun drawOver(canvas: Canvas) {
        val line = drawing?.takeIf { it.size >= 4 } ?: outlinePx
        if (line.isEmpty()) return
        path.rewind()
        for (at in 0 until line.size - 1 step 2) {
            val (x, y) = place.toViewX(line[at]) to place.toViewY(line[at + 1])
            if (at == 0) path.moveTo(x, y) else path.lineTo(x, y)
        }
        if (drawing == null || drawing!!.size < 4) path.close()
        for (pen in listOf(halo, ink)) canvas.drawPath(path, pen)
    }

    override fun onInitializeAccessibilityNodeInfo(info: AccessibilityNodeInfo) {
        super.onInitializeAccessibilityNodeInfo(info)
        info.className = "android.widget.ImageView"
        info.addAction(AccessibilityAction(R.id.outline_all, context.getString(R.string.outline_all)))
    }

    override fun performAccessibilityAction(action: Int, arguments: Bundle?): Boolean {
        if (action != R.id.outline_all) return super.performAccessibilityAction(action, arguments)
        allOfIt()
        return true
    }

    private companion object {
        /** Between two corners, dp of the screen. */
        const val STEP_DP = 5f

        /** Fewest corners of something drawn. */
        const val LEAST = 8
        const val EDGE_LEFT = 0.04f
    }
}

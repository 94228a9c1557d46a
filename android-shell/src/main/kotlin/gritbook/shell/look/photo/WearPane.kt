package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.os.Bundle
import android.view.KeyEvent
import android.view.accessibility.AccessibilityNodeInfo
import android.view.accessibility.AccessibilityNodeInfo.AccessibilityAction
import gritbook.shell.R

/** A photo of a wear surface, to be moved and zoomed in step with another one. */
class WearPane(context: Context) : PhotoPane(context) {
    /** Outlines of what was counted on the surface, in px of the upright photo, x and y in turn; drawn once the photo is closer. */
    var marks: List<List<Double>> = emptyList()
        set(value) {
            field = value
            outlines.rewind()
            value.forEach(::trace)
            invalidate()
        }
    private val outlines = Path()
    private val halo = look.pen(look.paper)
    private val edge = look.pen(look.violet)

    private fun trace(outlinePx: List<Double>) {
        for (at in 0 until outlinePx.size - 1 step 2) {
            val (x, y) = outlinePx[at].toFloat() to outlinePx[at + 1].toFloat()
            if (at == 0) outlines.moveTo(x, y) else outlines.lineTo(x, y)
        }
        outlines.close()
    }

    override fun drawOver(canvas: Canvas) {
        // On the whole photo they would hide the surface itself.
        if (marks.isEmpty() || place.isWhole) return
        canvas.save()
        canvas.translate(place.left, place.top)
        canvas.scale(place.scale, place.scale)
        // Lines of one width whatever the scale, light below, dark above.
        halo.strokeWidth = look.dp(2.6f) / place.scale
        edge.strokeWidth = look.dp(1.2f) / place.scale
        canvas.drawPath(outlines, halo)
        canvas.drawPath(outlines, edge)
        canvas.restore()
    }

    override fun onKeyDown(keyCode: Int, event: KeyEvent): Boolean {
        when (keyCode) {
            KeyEvent.KEYCODE_PLUS, KeyEvent.KEYCODE_EQUALS, KeyEvent.KEYCODE_NUMPAD_ADD -> closer()
            KeyEvent.KEYCODE_MINUS, KeyEvent.KEYCODE_NUMPAD_SUBTRACT -> whole()
            else -> return super.onKeyDown(keyCode, event)
        }
        return true
    }

    override fun onInitializeAccessibilityNodeInfo(info: AccessibilityNodeInfo) {
        super.onInitializeAccessibilityNodeInfo(info)
        info.className = "android.widget.ImageView"
        info.addAction(AccessibilityAction(R.id.photo_closer, context.getString(R.string.photo_closer)))
        if (!place.isWhole) info.addAction(AccessibilityAction(R.id.photo_whole, context.getString(R.string.photo_whole)))
    }

    override fun performAccessibilityAction(action: Int, arguments: Bundle?): Boolean {
        when (action) {
            R.id.photo_closer -> closer()
            R.id.photo_whole -> whole()
            else -> return super.performAccessibilityAction(action, arguments)
        }
        return true
    }

    companion object {
        /** What is done to one is done to the other. */
        fun inStep(one: WearPane, other: WearPane) {
            one.onMoved = { one.stance?.let(other::stand) }
            other.onMoved = { other.stance?.let(one::stand) }
        }
    }
}

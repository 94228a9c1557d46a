package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Canvas
import android.os.Bundle
import android.view.KeyEvent
import android.view.accessibility.AccessibilityNodeInfo
import android.view.accessibility.AccessibilityNodeInfo.AccessibilityAction
import gritbook.shell.R

/** A photo of a wear surface, to be moved and zoomed in step with another one. */
class WearPane(context: Context) : PhotoPane(context) {
    override fun drawOver(canvas: Canvas) = Unit

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

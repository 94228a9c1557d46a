package gritbook.shell.look.thumb

import android.content.Context
import android.graphics.Rect
import android.os.Bundle
import android.view.MotionEvent
import android.view.View
import android.view.accessibility.AccessibilityEvent
import android.view.accessibility.AccessibilityManager
import android.view.accessibility.AccessibilityNodeInfo
import android.view.accessibility.AccessibilityNodeInfo.AccessibilityAction
import android.view.accessibility.AccessibilityNodeProvider
import gritbook.shell.look.GritRing
import gritbook.shell.look.sayState

/**
 * The arc for those who hear it: a slider that can be stepped, with five radio buttons inside that a searching finger finds
 * one by one.
 */
class ThumbVoice(private val view: ThumbArcView) : AccessibilityNodeProvider() {
    private var hovered = NONE
    private var focused = NONE
    private val manager get() = view.context.getSystemService(Context.ACCESSIBILITY_SERVICE) as AccessibilityManager

    @Suppress("DEPRECATION")
    override fun createAccessibilityNodeInfo(id: Int): AccessibilityNodeInfo? = when (id) {
        View.NO_ID -> AccessibilityNodeInfo.obtain(view).also { whole ->
            view.onInitializeAccessibilityNodeInfo(whole)
            whole.className = "android.widget.SeekBar"
            for (grade in 0 until GritRing.GRADES) whole.addChild(view, grade)
            val state = view.grade?.let(view.says)
            if (state != null) whole.sayState(state)
            whole.contentDescription = if (state == null || android.os.Build.VERSION.SDK_INT >= 30) view.called else "${view.called}, $state"
            whole.rangeInfo = AccessibilityNodeInfo.RangeInfo.obtain(
                AccessibilityNodeInfo.RangeInfo.RANGE_TYPE_INT, 0f, (GritRing.GRADES - 1).toFloat(), (view.grade ?: 0).toFloat(),
            )
            if ((view.grade ?: -1) < GritRing.GRADES - 1) whole.addAction(AccessibilityAction.ACTION_SCROLL_FORWARD)
            if ((view.grade ?: 0) > 0) whole.addAction(AccessibilityAction.ACTION_SCROLL_BACKWARD)
        }
        in 0 until GritRing.GRADES -> AccessibilityNodeInfo.obtain(view, id).also { one ->
            one.packageName = view.context.packageName
            one.className = "android.widget.RadioButton"
            one.setParent(view)
            one.text = view.says(id)
            one.isCheckable = true
            one.isChecked = view.grade == id
            one.isEnabled = view.isEnabled
            one.isVisibleToUser = view.isShown
            one.isClickable = true
            one.isFocusable = true
            one.addAction(AccessibilityAction.ACTION_CLICK)
            one.isAccessibilityFocused = focused == id
            one.addAction(if (focused == id) AccessibilityAction.ACTION_CLEAR_ACCESSIBILITY_FOCUS else AccessibilityAction.ACTION_ACCESSIBILITY_FOCUS)
            val target = view.target(id)
            one.setBoundsInParent(target)
            val corner = IntArray(2).also(view::getLocationOnScreen)
            one.setBoundsInScreen(Rect(target).apply { offset(corner[0], corner[1]) })
        }
        else -> null
    }

    override fun performAction(id: Int, action: Int, arguments: Bundle?): Boolean {
        if (id == View.NO_ID) return whole(action) || view.performAccessibilityAction(action, arguments)
        if (id !in 0 until GritRing.GRADES) return false
        when (action) {
            AccessibilityNodeInfo.ACTION_CLICK -> {
                view.set(id)
                send(id, AccessibilityEvent.TYPE_VIEW_CLICKED)
            }
            AccessibilityNodeInfo.ACTION_ACCESSIBILITY_FOCUS -> {
                if (focused == id) return false
                focused = id
                view.invalidate()
                send(id, AccessibilityEvent.TYPE_VIEW_ACCESSIBILITY_FOCUSED)
            }
            AccessibilityNodeInfo.ACTION_CLEAR_ACCESSIBILITY_FOCUS -> {
                if (focused != id) return false
                focused = NONE
                view.invalidate()
                send(id, AccessibilityEvent.TYPE_VIEW_ACCESSIBILITY_FOCUS_CLEARED)
            }
            else -> return false
        }
        return true
    }

    private fun whole(action: Int): Boolean {
        val next = when (action) {
            AccessibilityNodeInfo.ACTION_SCROLL_FORWARD -> (view.grade ?: -1) + 1
            AccessibilityNodeInfo.ACTION_SCROLL_BACKWARD -> (view.grade ?: 0) - 1
            else -> return false
        }
        if (next !in 0 until GritRing.GRADES) return false
        view.set(next)
        return true
    }

    /** Follows a searching finger. */
    fun hover(event: MotionEvent): Boolean {
        if (!manager.isEnabled || !manager.isTouchExplorationEnabled) return false
        val at = if (event.actionMasked == MotionEvent.ACTION_HOVER_EXIT) NONE else view.arc.under(event.x, event.y) ?: NONE
        if (at != hovered) {
            val last = hovered
            hovered = at
            if (at != NONE) send(at, AccessibilityEvent.TYPE_VIEW_HOVER_ENTER)
            if (last != NONE) send(last, AccessibilityEvent.TYPE_VIEW_HOVER_EXIT)
        }
        return at != NONE
    }

    /** Another grade is set: what was read before is stale. */
    fun changed() {
        if (!manager.isEnabled || view.parent == null) return
        @Suppress("DEPRECATION")
        val event = AccessibilityEvent.obtain(AccessibilityEvent.TYPE_WINDOW_CONTENT_CHANGED)
        event.contentChangeTypes = AccessibilityEvent.CONTENT_CHANGE_TYPE_SUBTREE
        event.packageName = view.context.packageName
        event.setSource(view)
        view.parent.requestSendAccessibilityEvent(view, event)
    }

    private fun send(id: Int, type: Int) {
        if (!manager.isEnabled || view.parent == null) return
        @Suppress("DEPRECATION")
        val event = AccessibilityEvent.obtain(type)
        event.packageName = view.context.packageName
        event.className = "android.widget.RadioButton"
        event.setSource(view, id)
        event.text.add(view.says(id))
        event.isChecked = view.grade == id
        view.parent.requestSendAccessibilityEvent(view, event)
    }

    private companion object {
        const val NONE = -1
    }
}

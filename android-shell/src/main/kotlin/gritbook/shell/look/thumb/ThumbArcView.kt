package gritbook.shell.look.thumb

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.graphics.Rect
import android.os.Build
import android.view.HapticFeedbackConstants
import android.view.KeyEvent
import android.view.MotionEvent
import android.view.View
import android.view.accessibility.AccessibilityEvent
import android.view.accessibility.AccessibilityNodeProvider
import gritbook.shell.look.GritRing
import gritbook.shell.look.Look

/**
 * Five grit rings on an arc. A thumb slides along it and feels a tick at each; lifted, it sets the one it is on; slid off
 * sideways, it sets nothing. Keys: arrows move, Enter sets, 0 to 4 set at once. A screen reader finds five buttons.
 */
class ThumbArcView(context: Context) : View(context) {
    /** Hears what the thumb does. */
    interface Listener {
        /** What is shown: the grade under the thumb, or the one that is set; null for none. */
        fun shows(grade: Int?)

        /** The thumb was lifted, or a key or a screen reader chose. */
        fun sets(grade: Int)
    }

    private val look = Look(context)
    private val line = look.pen(look.ink)
    private val path = Path()
    private val solid = look.brush(look.ink)
    private val under = look.brush(look.paper)
    private var thumb: Int? = null
    private var sliding = false

    var listener: Listener? = null

    /** True where the left hand holds the phone. */
    var leftHand = false
        set(value) {
            field = value
            invalidate()
        }

    /** True to lie along the foot of the screen. */
    var lying = false
        set(value) {
            field = value
            requestLayout()
        }

    /** The grade that is set; null for none yet. Setting it tells nobody. */
    var grade: Int? = null
        set(value) {
            field = value
            thumb = null
            invalidate()
            voice.changed()
        }

    /** What a screen reader says of a grade: number, name, criterion. */
    var says: (Int) -> CharSequence = { it.toString() }

    /** What is graded, for a screen reader. */
    var called: CharSequence = ""
        set(value) {
            field = value
            contentDescription = value
        }

    /** The grade under the thumb or the cursor, else the one that is set. */
    val shown: Int? get() = thumb ?: grade

    private val voice = ThumbVoice(this)

    init {
        isFocusable = true
        isHapticFeedbackEnabled = true
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_YES
    }

    val arc: ThumbArc get() = ThumbArc(width.toFloat(), height.toFloat(), look.touch.toFloat(), look.touchGap.toFloat(), leftHand, lying)

    /** Least length along the arc and width across it, px. */
    val leastLength: Int get() = look.touch * GritRing.GRADES
    val across: Int get() = look.touch + look.mm(BEND_MM).toInt()

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val long = look.touch * GritRing.GRADES + look.touchGap * (GritRing.GRADES - 1)
        if (lying) setMeasuredDimension(resolveSize(long, widthSpec), resolveSize(across, heightSpec))
        else setMeasuredDimension(resolveSize(across, widthSpec), resolveSize(long, heightSpec))
    }

    /** Where a grade is touched. */
    fun target(grade: Int): Rect {
        val arc = arc
        val half = look.touch / 2
        val x = arc.x(grade.toFloat()).toInt()
        val y = arc.y(grade.toFloat()).toInt()
        return Rect(x - half, y - half, x + half, y + half)
    }

    override fun onDraw(canvas: Canvas) {
        val arc = arc
        path.rewind()
        for (step in 0..(GritRing.GRADES - 1) * STEPS) {
            val at = step.toFloat() / STEPS
            if (step == 0) path.moveTo(arc.x(at), arc.y(at)) else path.lineTo(arc.x(at), arc.y(at))
        }
        line.color = if (isFocused) look.violet else look.ink
        line.strokeWidth = look.line
        canvas.drawPath(path, line)
        val size = look.touch * RING
        for (grade in 0 until GritRing.GRADES) {
            val x = arc.x(grade.toFloat())
            val y = arc.y(grade.toFloat())
            val here = grade == shown
            // The set one and the one under the thumb are filled; a cursor that has not set yet has a second edge.
            under.color = if (here) look.violet else look.paper
            canvas.drawCircle(x, y, if (here) look.touch / 2f else size / 2, under)
            val colour = if (here) look.onViolet else look.ink
            line.color = colour
            solid.color = colour
            GritRing.draw(canvas, x, y, size, grade, false, line, solid)
            if (here && thumb != null && !sliding) {
                line.color = look.onViolet
                canvas.drawCircle(x, y, look.touch / 2f - look.dp(3f), line)
            }
        }
    }

    override fun onTouchEvent(event: MotionEvent): Boolean {
        when (event.actionMasked) {
            MotionEvent.ACTION_DOWN -> {
                val at = arc.under(event.x, event.y) ?: return false
                parent?.requestDisallowInterceptTouchEvent(true)
                sliding = true
                move(at)
            }
            MotionEvent.ACTION_MOVE -> if (sliding) {
                // What came between two frames counts too: a fast thumb feels every tick.
                for (past in 0 until event.historySize) slide(event.getHistoricalX(past), event.getHistoricalY(past))
                slide(event.x, event.y)
            }
            MotionEvent.ACTION_UP -> if (sliding) {
                slide(event.x, event.y)
                val at = thumb
                endSlide()
                if (at != null) set(at)
            }
            MotionEvent.ACTION_CANCEL -> if (sliding) endSlide()
            else -> return false
        }
        return true
    }

    private fun slide(x: Float, y: Float) {
        if (arc.left(x, y)) move(null) else move(arc.along(x, y, thumb))
    }

    private fun move(to: Int?) {
        if (thumb == to) return
        thumb = to
        if (to != null) performHapticFeedback(HapticFeedbackConstants.CLOCK_TICK)
        listener?.shows(shown)
        invalidate()
    }

    private fun endSlide() {
        sliding = false
        thumb = null
        parent?.requestDisallowInterceptTouchEvent(false)
        listener?.shows(shown)
        invalidate()
    }

    /** Sets a grade as a lifted thumb does. */
    fun set(to: Int) {
        grade = to
        performHapticFeedback(if (Build.VERSION.SDK_INT >= 30) HapticFeedbackConstants.CONFIRM else HapticFeedbackConstants.VIRTUAL_KEY)
        listener?.shows(to)
        listener?.sets(to)
    }

    override fun onKeyDown(keyCode: Int, event: KeyEvent): Boolean {
        val worst = GritRing.GRADES - 1
        when (keyCode) {
            KeyEvent.KEYCODE_DPAD_RIGHT, KeyEvent.KEYCODE_PLUS, KeyEvent.KEYCODE_NUMPAD_ADD -> move(((shown ?: -1) + 1).coerceAtMost(worst))
            KeyEvent.KEYCODE_DPAD_LEFT, KeyEvent.KEYCODE_MINUS, KeyEvent.KEYCODE_NUMPAD_SUBTRACT -> move(((shown ?: 1) - 1).coerceAtLeast(0))
            KeyEvent.KEYCODE_DPAD_CENTER, KeyEvent.KEYCODE_ENTER, KeyEvent.KEYCODE_NUMPAD_ENTER, KeyEvent.KEYCODE_SPACE -> thumb?.let(::set)
            in KeyEvent.KEYCODE_0..KeyEvent.KEYCODE_0 + worst -> set(keyCode - KeyEvent.KEYCODE_0)
            in KeyEvent.KEYCODE_NUMPAD_0..KeyEvent.KEYCODE_NUMPAD_0 + worst -> set(keyCode - KeyEvent.KEYCODE_NUMPAD_0)
            else -> return super.onKeyDown(keyCode, event)
        }
        return true
    }

    override fun onFocusChanged(gain: Boolean, direction: Int, previously: Rect?) {
        super.onFocusChanged(gain, direction, previously)
        // A cursor that moved and did not set meant nothing.
        if (!gain) move(null)
        invalidate()
    }

    override fun getAccessibilityNodeProvider(): AccessibilityNodeProvider = voice

    override fun dispatchHoverEvent(event: MotionEvent): Boolean = voice.hover(event) || super.dispatchHoverEvent(event)

    override fun onInitializeAccessibilityEvent(event: AccessibilityEvent) {
        super.onInitializeAccessibilityEvent(event)
        event.className = "android.widget.SeekBar"
        event.itemCount = GritRing.GRADES
        event.currentItemIndex = grade ?: -1
    }

    private companion object {
        const val BEND_MM = 5f

        /** Ring's size against its target's. */
        const val RING = 0.72f
        const val STEPS = 8
    }
}

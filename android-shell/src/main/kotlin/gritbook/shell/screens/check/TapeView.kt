package gritbook.shell.screens.check

import android.content.Context
import android.graphics.Canvas
import android.graphics.Paint
import android.os.Bundle
import android.view.HapticFeedbackConstants
import android.view.KeyEvent
import android.view.MotionEvent
import android.view.VelocityTracker
import android.view.View
import android.view.accessibility.AccessibilityNodeInfo
import android.widget.OverScroller
import gritbook.shell.R
import gritbook.shell.frame.dp
import kotlin.math.roundToInt

/**
 * A measuring tape of pumped concrete: pulled to the left from the last total. One pull with a glove in place of five keys; a quick
 * pull runs on. Whole units only; a finer total is typed.
 */
class TapeView(context: Context, private val tape: Tape, start: Double, private val changed: (Double) -> Unit) : View(context) {
    private val first = tape.firstShown

    /** In the shop's unit, like everything in here; [changed] hears the book's. */
    private var value = tape.shown(start)
    private val perUnit = context.dp(3).toFloat()
    private val line = Paint(Paint.ANTI_ALIAS_FLAG).apply { strokeWidth = context.dp(2).toFloat() }
    private val letters = Paint(Paint.ANTI_ALIAS_FLAG).apply {
        textSize = resources.getDimension(R.dimen.note)
        textAlign = Paint.Align.CENTER
        fontFeatureSettings = "tnum"
    }
    private var exact = value
    private var lastX = 0f
    private var speed: VelocityTracker? = null
    private val run = OverScroller(context)
    private var runFrom = 0.0

    init {
        isFocusable = true
        minimumHeight = resources.getDimensionPixelSize(R.dimen.touch)
        say()
    }

    private fun say() {
        contentDescription = context.getString(R.string.check_tape, tape.write(tape.kept(value)))
    }

    private fun set(next: Double) {
        exact = next.coerceAtLeast(first)
        val whole = first + (exact - first).roundToInt()
        if (whole == value) return
        value = whole
        performHapticFeedback(HapticFeedbackConstants.CLOCK_TICK)
        say()
        changed(tape.kept(value))
        invalidate()
    }

    override fun onTouchEvent(event: MotionEvent): Boolean {
        val meter = speed ?: VelocityTracker.obtain().also { speed = it }
        meter.addMovement(event)
        when (event.actionMasked) {
            MotionEvent.ACTION_DOWN -> {
                run.abortAnimation()
                parent?.requestDisallowInterceptTouchEvent(true)
                lastX = event.x
            }
            MotionEvent.ACTION_MOVE -> {
                set(exact + (lastX - event.x) / perUnit)
                lastX = event.x
            }
            MotionEvent.ACTION_UP, MotionEvent.ACTION_CANCEL -> {
                meter.computeCurrentVelocity(1000)
                if (event.actionMasked == MotionEvent.ACTION_UP) {
                    runFrom = exact
                    run.fling(0, 0, -meter.xVelocity.roundToInt(), 0, Int.MIN_VALUE, Int.MAX_VALUE, 0, 0)
                    postInvalidateOnAnimation()
                }
                meter.recycle()
                speed = null
            }
        }
        return true
    }

    override fun computeScroll() {
        if (!run.computeScrollOffset()) return
        set(runFrom + run.currX / perUnit)
        postInvalidateOnAnimation()
    }

    override fun onKeyDown(keyCode: Int, event: KeyEvent?): Boolean = when (keyCode) {
        KeyEvent.KEYCODE_DPAD_RIGHT -> true.also { set(value + 1) }
        KeyEvent.KEYCODE_DPAD_LEFT -> true.also { set(value - 1) }
        else -> super.onKeyDown(keyCode, event)
    }

    override fun onInitializeAccessibilityNodeInfo(info: AccessibilityNodeInfo) {
        super.onInitializeAccessibilityNodeInfo(info)
        info.className = "android.widget.SeekBar"
        info.addAction(AccessibilityNodeInfo.AccessibilityAction.ACTION_SCROLL_FORWARD)
        info.addAction(AccessibilityNodeInfo.AccessibilityAction.ACTION_SCROLL_BACKWARD)
    }

    override fun performAccessibilityAction(action: Int, arguments: Bundle?): Boolean = when (action) {
        AccessibilityNodeInfo.ACTION_SCROLL_FORWARD -> true.also { set(value + 10) }
        AccessibilityNodeInfo.ACTION_SCROLL_BACKWARD -> true.also { set(value - 10) }
        else -> super.performAccessibilityAction(action, arguments)
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val need = maxOf(minimumHeight, (letters.textSize * 2.2f + context.dp(48)).roundToInt())
        setMeasuredDimension(MeasureSpec.getSize(widthSpec), resolveSize(need, heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val middle = width / 2f
        val top = context.dp(6).toFloat()
        val reach = (middle / perUnit).roundToInt() + 1
        line.color = context.getColor(R.color.ink)
        letters.color = context.getColor(R.color.pencil)
        canvas.drawLine(0f, top, width.toFloat(), top, line)
        for (step in -reach..reach) {
            val at = value + step
            if (at < first) continue
            val whole = at.roundToInt()
            val long = when {
                whole % 50 == 0 -> context.dp(34)
                whole % 10 == 0 -> context.dp(22)
                whole % 2 == 0 -> context.dp(10)
                else -> continue
            }
            val x = middle + step * perUnit
            canvas.drawLine(x, top, x, top + long, line)
            if (whole % 50 == 0) canvas.drawText(whole.toString(), x, top + long + letters.textSize * 1.2f, letters)
        }
        line.color = context.getColor(R.color.violet)
        canvas.drawLine(middle, 0f, middle, height - letters.textSize * 0.4f, line)
    }
}

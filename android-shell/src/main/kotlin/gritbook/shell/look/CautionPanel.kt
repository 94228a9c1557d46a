package gritbook.shell.look

import android.graphics.Canvas
import android.graphics.Path
import android.util.TypedValue
import android.view.Gravity
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.shell.R

/** The signal words of ANSI Z535.4 and ISO 3864-2 with the colours of their panels. */
enum class Signal(val word: Int, val panel: Int, val letters: Int) {
    /** Will kill or maim if not avoided. */
    DANGER(R.string.signal_danger, R.color.safety_red, R.color.safety_white),

    /** Could kill or maim. */
    WARNING(R.string.signal_warning, R.color.safety_orange, R.color.safety_black),

    /** Could injure. */
    CAUTION(R.string.signal_caution, R.color.safety_yellow, R.color.safety_black),
}

/** A safety panel: signal word with its triangle over what to do. At hold points and nowhere else, so that it keeps its force. */
class CautionPanel(kit: Kit, signal: Signal, words: CharSequence) : LinearLayout(kit.context) {
    init {
        val look = kit.look
        val letters = context.getColor(signal.letters)
        val panel = context.getColor(signal.panel)
        orientation = VERTICAL
        val head = LinearLayout(context).apply {
            gravity = Gravity.CENTER
            setBackgroundColor(panel)
            setPadding(look.steps(3), look.steps(2), look.steps(3), look.steps(2))
            addView(TriangleView(kit, letters, panel), LayoutParams(look.textTitle.toInt() * 5 / 4, look.textTitle.toInt() * 9 / 8))
            addView(FittedText(context).apply {
                setText(signal.word)
                setTextSize(TypedValue.COMPLEX_UNIT_PX, look.textTitle)
                typeface = Look.bold
                setTextColor(letters)
                letterSpacing = 0.05f
            }, LayoutParams(WRAP_CONTENT, WRAP_CONTENT).apply { marginStart = look.steps(2) })
        }
        val what = kit.body(words).apply { setPadding(look.steps(3), look.steps(3), look.steps(3), look.steps(3)) }
        val frame = look.line.toInt()
        setPadding(frame, frame, frame, frame)
        background = FrameGround(look, look.ink)
        addView(head, MATCH_PARENT, WRAP_CONTENT)
        addView(what, MATCH_PARENT, WRAP_CONTENT)
        contentDescription = context.getString(signal.word) + ". " + words
        isScreenReaderFocusableCompat = true
    }

    /** The safety alert symbol: a triangle with an exclamation mark, in the letters' colour on the panel's. */
    private class TriangleView(kit: Kit, letters: Int, private val panel: Int) : View(kit.context) {
        private val look = kit.look
        private val solid = look.brush(letters)
        private val mark = look.brush(panel)
        private val path = Path()

        init {
            importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
        }

        override fun onDraw(canvas: Canvas) {
            val w = width.toFloat()
            val h = height.toFloat()
            path.rewind()
            path.moveTo(w / 2, 0f)
            path.lineTo(w, h)
            path.lineTo(0f, h)
            path.close()
            canvas.drawPath(path, solid)
            canvas.drawRoundRect(w / 2 - w * 0.06f, h * 0.32f, w / 2 + w * 0.06f, h * 0.70f, w * 0.05f, w * 0.05f, mark)
            canvas.drawCircle(w / 2, h * 0.84f, w * 0.07f, mark)
        }
    }
}

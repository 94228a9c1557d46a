package gritbook.shell.look

import android.content.Context
import android.graphics.Typeface
import android.text.Layout
import android.text.SpannableStringBuilder
import android.text.Spanned
import android.text.style.AbsoluteSizeSpan
import android.text.style.ForegroundColorSpan
import android.text.style.StyleSpan
import android.util.TypedValue
import android.view.Gravity
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.Button
import android.widget.LinearLayout
import android.widget.TextView

/** Words and figures in the look of the notebook, and how they stand together. */
class Kit(val context: Context) {
    val look = Look(context)

    /** What something comes to, in a word or two. */
    fun strong(words: CharSequence): TextView = words(words, look.textTitle, look.ink, bold = true)

    fun body(words: CharSequence): TextView = words(words, look.textBody, look.ink)

    /** A second line, smaller and in pencil. */
    fun note(words: CharSequence): TextView = words(words, look.textNote, look.pencil)

    /** A figure with its unit, smaller on the same line, and what it is below. */
    fun figure(figure: CharSequence, unit: CharSequence, what: CharSequence): View {
        // The thin no-break space keeps figure and unit together.
        val text = SpannableStringBuilder(figure).append("\u202F").append(unit)
        for (span in listOf(AbsoluteSizeSpan(look.textBody.toInt()), StyleSpan(Typeface.NORMAL), ForegroundColorSpan(look.pencil))) {
            text.setSpan(span, figure.length, text.length, Spanned.SPAN_EXCLUSIVE_EXCLUSIVE)
        }
        return column(words(text, look.textFigure, look.ink, bold = true), note(what)).apply {
            contentDescription = "$figure $unit $what"
            isScreenReaderFocusableCompat = true
        }
    }

    /** Reasons, gravest first, each after a dash with a hanging indent. */
    fun reasons(lines: List<CharSequence>): LinearLayout = column().apply {
        for (line in lines) {
            val dash = words("–", look.textBody, look.pencil).apply { importantForAccessibility = View.IMPORTANT_FOR_ACCESSIBILITY_NO }
            addView(row(dash, body(line), gapSteps = 2).apply { gravity = Gravity.TOP }, MATCH_PARENT, WRAP_CONTENT)
        }
    }

    /** A sign of our own with what it is of and what it says; read out as one. */
    fun signed(sign: View, what: CharSequence, says: CharSequence): View {
        val side = (look.textTitle * 1.7f).toInt()
        return row(gapSteps = 3).apply {
            setPadding(0, look.steps(1), 0, look.steps(1))
            addView(sign, side, side)
            addView(column(body(what), note(says)), LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f))
            contentDescription = "$what, $says. ${sign.contentDescription ?: ""}"
            isScreenReaderFocusableCompat = true
        }
    }

    /** Something else that may be done. */
    fun quietButton(words: CharSequence, act: () -> Unit): Button = FittedButton(context).apply {
        text = words
        asSlip(look, SlipDrawable.Kind.QUIET)
        setOnClickListener { act() }
    }

    private fun words(words: CharSequence, size: Float, colour: Int, bold: Boolean = false): TextView = FittedText(context).apply {
        text = words
        setTextSize(TypedValue.COMPLEX_UNIT_PX, size)
        setTextColor(colour)
        typeface = if (bold) Look.bold else Look.plain
        fontFeatureSettings = Look.TABULAR
        hyphenationFrequency = Layout.HYPHENATION_FREQUENCY_NONE
    }

    private fun column(vararg views: View): LinearLayout = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        views.forEach { addView(it, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT)) }
    }

    /** Side by side; the last one takes the room that is left. Baselines are not aligned: at 200 % type that cuts words. */
    fun row(vararg views: View, gapSteps: Int = 3): LinearLayout = LinearLayout(context).apply {
        orientation = LinearLayout.HORIZONTAL
        isBaselineAligned = false
        gravity = Gravity.CENTER_VERTICAL
        showDividers = LinearLayout.SHOW_DIVIDER_MIDDLE
        dividerDrawable = GapDrawable(look.steps(gapSteps))
        views.forEachIndexed { at, view ->
            val last = at == views.lastIndex
            addView(view, LinearLayout.LayoutParams(if (last) 0 else WRAP_CONTENT, WRAP_CONTENT, if (last) 1f else 0f))
        }
    }
}

package gritbook.shell.look

import android.content.Context
import android.text.SpannableStringBuilder
import android.text.Spanned
import android.text.style.AbsoluteSizeSpan
import android.text.style.ForegroundColorSpan
import android.text.style.StyleSpan
import android.util.TypedValue
import android.view.Gravity
import android.view.View
import android.view.ViewGroup
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.Button
import android.widget.LinearLayout
import android.widget.TextView

/** What screens are made of: words, figures, and things to press, in the look of the notebook. */
class Kit(val context: Context) {
    val look = Look(context)

    // Words.

    /** The answer of a screen, the largest words on it. */
    fun sentence(words: CharSequence): TextView = words(words, look.textFigure, look.ink, bold = true).apply {
        setLineSpacing(0f, 0.95f)
    }

    /** The head of a part of a screen. */
    fun heading(words: CharSequence): TextView = words(words, look.textBody, look.ink, bold = true).apply {
        isAccessibilityHeadingCompat = true
    }

    /** What something comes to, in a word or two. */
    fun strong(words: CharSequence): TextView = words(words, look.textTitle, look.ink, bold = true)

    fun body(words: CharSequence): TextView = words(words, look.textBody, look.ink)

    /** A second line, smaller and in pencil. */
    fun note(words: CharSequence): TextView = words(words, look.textNote, look.pencil)

    /** A figure with its unit, smaller on the same line, and what it is below. */
    fun figure(figure: CharSequence, unit: CharSequence, what: CharSequence? = null): View {
        val text = SpannableStringBuilder(figure)
        if (unit.isNotEmpty()) {
            // The thin no-break space keeps figure and unit together.
            text.append("\u202F").append(unit)
            val from = figure.length
            text.setSpan(AbsoluteSizeSpan(look.textBody.toInt()), from, text.length, Spanned.SPAN_EXCLUSIVE_EXCLUSIVE)
            text.setSpan(StyleSpan(android.graphics.Typeface.NORMAL), from, text.length, Spanned.SPAN_EXCLUSIVE_EXCLUSIVE)
            text.setSpan(ForegroundColorSpan(look.pencil), from, text.length, Spanned.SPAN_EXCLUSIVE_EXCLUSIVE)
        }
        val shown = words(text, look.textFigure, look.ink, bold = true)
        if (what == null) return shown
        return column(shown, note(what), gapSteps = 0).apply {
            contentDescription = listOf(what, figure, unit).filter { it.isNotEmpty() }.joinToString(" ")
            isScreenReaderFocusableCompat = true
        }
    }

    /** Reasons, gravest first, each after a dash with a hanging indent. */
    fun reasons(lines: List<CharSequence>): LinearLayout = column(gapSteps = 1).apply {
        lines.forEach { line ->
            addView(row(words("–", look.textBody, look.pencil).apply { importantForAccessibility = View.IMPORTANT_FOR_ACCESSIBILITY_NO },
                body(line), gapSteps = 2).apply { gravity = Gravity.TOP }, MATCH_PARENT, WRAP_CONTENT)
        }
    }

    private fun words(words: CharSequence, size: Float, colour: Int, bold: Boolean = false) = FittedText(context).apply {
        text = words
        setTextSize(TypedValue.COMPLEX_UNIT_PX, size)
        setTextColor(colour)
        typeface = if (bold) Look.bold else Look.plain
        fontFeatureSettings = Look.TABULAR
        hyphenationFrequency = android.text.Layout.HYPHENATION_FREQUENCY_NONE
    }

    // Things to press.

    /** The one thing to do next. */
    fun primaryButton(words: CharSequence, act: () -> Unit): Button = button(words, SlipDrawable.Kind.PRIMARY, act)

    /** Something else that may be done. */
    fun quietButton(words: CharSequence, act: () -> Unit): Button = button(words, SlipDrawable.Kind.QUIET, act)

    private fun button(words: CharSequence, kind: SlipDrawable.Kind, act: () -> Unit) = FittedButton(context).apply {
        text = words
        asSlip(look, kind)
        setOnClickListener { act() }
    }

    /**
     * One answer out of a few. [chosen] is an index or null for none yet; [choose] hears every new choice.
     * Names are short; long ones go on lines of their own.
     */
    fun choiceRow(names: List<CharSequence>, chosen: Int? = null, choose: (Int) -> Unit): ChoiceRow =
        ChoiceRow(context, names.map { name -> FittedButton(context).also { it.text = name; it.asSlip(look, SlipDrawable.Kind.CHOICE) } }, choose)
            .apply { this.chosen = chosen }

    /**
     * A line of a list that opens something: a sign in front, what it is, what there is to say of it, and behind it a second
     * sign. The whole line is the target.
     */
    fun listRow(words: CharSequence, says: CharSequence? = null, before: View? = null, after: View? = null, act: (() -> Unit)? = null): View {
        val lines = column(heading(words).apply { isAccessibilityHeadingCompat = false }, gapSteps = 0)
        says?.let { lines.addView(note(it), MATCH_PARENT, WRAP_CONTENT) }
        return row(gapSteps = 3).apply {
            gravity = Gravity.CENTER_VERTICAL
            minimumHeight = look.touch
            setPadding(0, look.steps(2), 0, look.steps(2))
            before?.let { addView(it) }
            addView(lines, LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f).apply { if (before != null) marginStart = look.steps(3) })
            after?.let { addView(it, LinearLayout.LayoutParams(WRAP_CONTENT, WRAP_CONTENT).apply { marginStart = look.steps(3) }) }
            background = RowDrawable(look, act != null)
            if (act != null) {
                isClickable = true
                isFocusable = true
                setOnClickListener { act() }
                addView(ArrowView(context), LinearLayout.LayoutParams(look.steps(4), look.steps(6)).apply { marginStart = look.steps(2) })
            }
        }
    }

    // Safety.

    /** A safety panel, at hold points only. */
    fun caution(signal: Signal, words: CharSequence): View = CautionPanel(this, signal, words)

    // Order on the page.

    fun column(vararg views: View, gapSteps: Int = 3): LinearLayout = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        gapBetween(this, gapSteps, LinearLayout.VERTICAL)
        views.forEach { addView(it, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT)) }
    }

    /** Side by side; the last one takes the room that is left. Baselines are not aligned: at 200 % type that cuts words. */
    fun row(vararg views: View, gapSteps: Int = 3): LinearLayout = LinearLayout(context).apply {
        orientation = LinearLayout.HORIZONTAL
        isBaselineAligned = false
        gravity = Gravity.CENTER_VERTICAL
        gapBetween(this, gapSteps, LinearLayout.HORIZONTAL)
        views.forEachIndexed { at, view ->
            val last = at == views.lastIndex
            addView(view, LinearLayout.LayoutParams(if (last) 0 else WRAP_CONTENT, WRAP_CONTENT, if (last) 1f else 0f))
        }
    }

    /** Side by side as far as they fit, then on the next line. */
    fun flow(vararg views: View): FlowRow = FlowRow(context).apply { views.forEach(::addView) }

    private fun gapBetween(parent: LinearLayout, steps: Int, way: Int) {
        if (steps == 0) return
        parent.showDividers = LinearLayout.SHOW_DIVIDER_MIDDLE
        parent.dividerDrawable = GapDrawable(look.steps(steps), way)
    }

    /** A hairline between two parts of a page. */
    fun ruleLine(): View = View(context).apply {
        setBackgroundColor(look.rule)
        layoutParams = ViewGroup.LayoutParams(MATCH_PARENT, look.hairline.toInt().coerceAtLeast(1))
    }
}

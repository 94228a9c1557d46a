package gritbook.shell.frame

import android.content.Context
import android.text.InputType
import android.util.TypedValue
import android.view.View
import android.view.ViewGroup
import android.view.inputmethod.EditorInfo
import android.widget.Button
import android.widget.EditText
import android.widget.LinearLayout
import android.widget.TextView
import gritbook.shell.R
import gritbook.shell.look.FittedButton
import gritbook.shell.look.FittedText
import gritbook.shell.look.FlowRow
import gritbook.shell.look.FrameGround
import gritbook.shell.look.Look
import gritbook.shell.look.SlipDrawable
import gritbook.shell.look.WritingLine
import gritbook.shell.look.asSlip

/* The few kinds of view that every page is made of, in the sizes and colours of the resources. */

fun Context.px(dimen: Int) = resources.getDimensionPixelSize(dimen)

fun Context.dp(dp: Int) = (dp * resources.displayMetrics.density + 0.5f).toInt()

fun Context.words(text: CharSequence, size: Int = R.dimen.text, color: Int = R.color.ink, bold: Boolean = false): TextView = FittedText(this).apply {
    this.text = text
    setTextSize(TypedValue.COMPLEX_UNIT_PX, resources.getDimension(size))
    setTextColor(getColor(color))
    if (bold) typeface = Look.bold
    fontFeatureSettings = Look.TABULAR
}

fun Context.heading(text: CharSequence) = words(text, R.dimen.title, bold = true).apply { markHeading(this) }

/** Screen readers step from heading to heading (API 28 and newer). */
fun markHeading(view: View) {
    if (android.os.Build.VERSION.SDK_INT >= 28) view.isAccessibilityHeading = true
}

fun Context.note(text: CharSequence) = words(text, R.dimen.note, R.color.pencil)

/** A box with an outline of that colour on paper. */
fun Context.boxed(line: Int) = FrameGround(Look(this), getColor(line))

/** Something to touch. [main]: the one thing that this page is for. */
fun Context.key(text: CharSequence, main: Boolean = false, id: Int = View.NO_ID, act: () -> Unit) = FittedButton(this).apply {
    this.id = id
    this.text = text
    asSlip(Look(context), if (main) SlipDrawable.Kind.PRIMARY else SlipDrawable.Kind.QUIET)
    if (main) setTag(R.id.main_key, true)
    if (main) setTextSize(TypedValue.COMPLEX_UNIT_PX, resources.getDimension(R.dimen.title))
    setOnClickListener { act() }
}

/** One of several: filled where it is the chosen one. */
fun Button.chosen(yes: Boolean) {
    asSlip(Look(context), SlipDrawable.Kind.CHOICE)
    isSelected = yes
    contentDescription = if (yes) context.getString(R.string.chosen, text) else text
}

/** A line to type in, with what it is for above it. */
class Field(context: Context, label: CharSequence, id: Int, number: Boolean, text: String, changed: (String) -> Unit) {
    val edit = EditText(context).apply {
        this.id = id
        background = WritingLine(Look(context))
        setPadding(context.dp(12), context.dp(8), context.dp(12), context.dp(8))
        setText(text)
        // Decimal comma and point are both typed; what they mean is the book's to say.
        inputType = if (number) InputType.TYPE_CLASS_TEXT or InputType.TYPE_TEXT_FLAG_NO_SUGGESTIONS or InputType.TYPE_TEXT_VARIATION_VISIBLE_PASSWORD
        else InputType.TYPE_CLASS_TEXT or InputType.TYPE_TEXT_FLAG_CAP_SENTENCES
        if (number) setRawInputType(InputType.TYPE_CLASS_PHONE)
        imeOptions = EditorInfo.IME_FLAG_NO_EXTRACT_UI or EditorInfo.IME_ACTION_DONE
        setTextSize(TypedValue.COMPLEX_UNIT_PX, resources.getDimension(R.dimen.title))
        setTextColor(context.getColor(R.color.ink))
        fontFeatureSettings = Look.TABULAR
        minHeight = context.px(R.dimen.touch)
        isSaveEnabled = false
        addTextChangedListener(object : android.text.TextWatcher {
            override fun beforeTextChanged(s: CharSequence?, start: Int, count: Int, after: Int) {}
            override fun onTextChanged(s: CharSequence?, start: Int, before: Int, count: Int) {}
            override fun afterTextChanged(s: android.text.Editable?) = changed(s?.toString().orEmpty())
        })
    }
    val label: TextView = context.words(label, R.dimen.note, R.color.pencil).apply { labelFor = id }
    val root = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        addView(this@Field.label)
        addView(edit, LinearLayout.LayoutParams(ViewGroup.LayoutParams.MATCH_PARENT, ViewGroup.LayoutParams.WRAP_CONTENT))
    }
}

/** What something says, with the key that asks more of it beside it; below it where large letters need the width. */
fun Context.asked(says: View, more: View): LinearLayout = LinearLayout(this).apply {
    isBaselineAligned = false
    gravity = android.view.Gravity.CENTER_VERTICAL
    val (all, own) = ViewGroup.LayoutParams.MATCH_PARENT to ViewGroup.LayoutParams.WRAP_CONTENT
    if (resources.configuration.fontScale >= Page.LARGE) {
        orientation = LinearLayout.VERTICAL
        addView(says, LinearLayout.LayoutParams(all, own))
        addView(more, LinearLayout.LayoutParams(all, own).apply { topMargin = dp(8) })
    } else {
        addView(says, LinearLayout.LayoutParams(0, own, 1f))
        addView(more, LinearLayout.LayoutParams(own, own).apply { leftMargin = dp(8) })
    }
}

/** Keys side by side as far as their longest words fit, then on the next line. */
fun Context.keyRow(vararg keys: View): FlowRow = FlowRow(this).apply { keys.forEach(::addView) }

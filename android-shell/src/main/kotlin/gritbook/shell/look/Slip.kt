package gritbook.shell.look

import android.content.res.ColorStateList
import android.text.Layout
import android.util.TypedValue
import android.view.Gravity
import android.widget.TextView

/** Makes a button (or words that can be pressed) a slip of paper of the size that a glove hits. */
fun <T : TextView> T.asSlip(look: Look, kind: SlipDrawable.Kind): T = apply {
    background = SlipDrawable(look, kind)
    stateListAnimator = null
    isAllCaps = false
    gravity = Gravity.CENTER
    isFocusable = true
    isClickable = true
    setTextSize(TypedValue.COMPLEX_UNIT_PX, look.textBody)
    typeface = Look.bold
    fontFeatureSettings = Look.TABULAR
    hyphenationFrequency = Layout.HYPHENATION_FREQUENCY_NONE
    setTextColor(lettersOn(look, kind))
    minHeight = look.touch
    minimumHeight = look.touch
    minWidth = look.touch
    minimumWidth = look.touch
    setPadding(look.steps(2), look.steps(2), look.steps(2), look.steps(2))
}

/** The colour of letters on a slip in each of its states. */
private fun lettersOn(look: Look, kind: SlipDrawable.Kind) = ColorStateList(
    arrayOf(
        intArrayOf(-android.R.attr.state_enabled),
        intArrayOf(android.R.attr.state_pressed),
        intArrayOf(android.R.attr.state_selected),
        intArrayOf(),
    ),
    intArrayOf(look.pencil, look.paper, look.onViolet, if (kind == SlipDrawable.Kind.PRIMARY) look.onViolet else look.violet),
)

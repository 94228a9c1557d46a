package gritbook.shell.screens.measure

import android.content.Context
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.view.inputmethod.EditorInfo
import android.widget.LinearLayout
import gritbook.shell.R
import gritbook.shell.frame.Field
import gritbook.shell.frame.Page
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.capital
import gritbook.shell.frame.dp
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.words

/**
 * Fields that stand side by side under one name, and below them what the book says of a figure that cannot be. With large letters they
 * stand below one another: a diameter has six digits.
 */
class BoreFields(context: Context, name: CharSequence?, private val fields: List<Named>) : LinearLayout(context) {
    /** A field by the key it is kept under, and what it is called where its label alone does not say it. */
    class Named(val key: String, val called: String, val field: Field)

    private val said = fields.map { context.words("", bold = true).apply { visibility = View.GONE; accessibilityLiveRegion = View.ACCESSIBILITY_LIVE_REGION_POLITE } }

    init {
        orientation = VERTICAL
        if (name != null) addView(context.words(name, bold = true))
        val row = LinearLayout(context).apply { orientation = if (resources.configuration.fontScale >= Page.LARGE) VERTICAL else HORIZONTAL; isBaselineAligned = false }
        fields.forEachIndexed { at, one ->
            one.field.label.contentDescription = one.called
            one.field.edit.imeOptions = EditorInfo.IME_FLAG_NO_EXTRACT_UI or EditorInfo.IME_ACTION_NEXT
            val beside = row.orientation == HORIZONTAL
            row.addView(one.field.root, LayoutParams(if (beside) 0 else MATCH_PARENT, WRAP_CONTENT, if (beside) 1f else 0f).apply {
                if (beside) leftMargin = if (at == 0) 0 else context.px(R.dimen.touch_gap) else topMargin = if (at == 0) 0 else context.dp(8)
            })
        }
        addView(row, MATCH_PARENT, WRAP_CONTENT)
        said.forEach { addView(it, MATCH_PARENT, WRAP_CONTENT) }
    }

    /**
     * A figure that is being typed is no figure yet: of the field that is written in only [now] says what is wrong with it, or where it
     * was said before. Gives whether something is left unsaid.
     */
    fun tell(refused: Map<String, Trouble>, now: Boolean): Boolean {
        var unsaid = false
        fields.zip(said).forEach { (one, text) ->
            val trouble = refused[one.key]
            if (trouble == null) {
                text.visibility = View.GONE
            } else if (now || text.visibility == View.VISIBLE || !one.field.edit.isFocused) {
                val words = context.say(trouble)
                val told = context.getString(R.string.measure_refused, one.called, words.reason.ended(), words.advice.ended())
                if (text.text.toString() != told) text.text = told
                text.visibility = View.VISIBLE
            } else {
                unsaid = true
            }
        }
        return unsaid
    }

    /** The field of that key, where it is one of these. */
    fun field(key: String): Field? = fields.find { it.key == key }?.field

    private fun String.ended() = capital().removeSuffix(".")
}

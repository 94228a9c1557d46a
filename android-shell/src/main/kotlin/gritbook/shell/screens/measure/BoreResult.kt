package gritbook.shell.screens.measure

import android.content.Context
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.Quantity
import gritbook.shell.R
import gritbook.shell.frame.Figures
import gritbook.shell.frame.capital
import gritbook.shell.frame.dp
import gritbook.shell.frame.note
import gritbook.shell.frame.say
import gritbook.shell.frame.words

/** What the diameters come to, as they are typed: [brief] stands under the thumb, [rest] with what is read. */
class BoreResult(private val context: Context, private val figures: Figures) {
    val brief = context.words(context.getString(R.string.measure_waits), bold = true).apply {
        id = R.id.measured
        accessibilityLiveRegion = View.ACCESSIBILITY_LIVE_REGION_POLITE
    }
    val rest = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL; id = R.id.measured_rest }

    fun show(judged: Judged, places: Int) {
        val found = judged.found
        brief.say(judged.refused[BoreSheet.WHOLE]?.let { context.say(it).reason.capital() } ?: if (found == null) {
            context.getString(R.string.measure_waits)
        } else {
            val wear = context.getString(R.string.measure_plus_minus, figures.bare(Quantity.FINE_LENGTH, found.wearMm), show(found.uncertaintyMm))
            val of = if (judged.settings.nominalMm == null) R.string.measure_wear_least else R.string.measure_wear
            context.getString(of, found.wear.verdictWords?.let(context::say).orEmpty().capital(), wear)
        })
        rest.removeAllViews()
        if (found == null) return
        if (judged.readings.size < places) line(context.getString(R.string.measure_of, judged.readings.size, places))
        found.ovalityMm?.let { line(context.getString(R.string.measure_ovality, show(it))) }
        found.taperMm?.let { line(context.getString(R.string.measure_taper, show(it))) }
        found.chromeLeftMm?.let { line(context.getString(R.string.measure_chrome_left, show(it), found.chromeWords?.let(context::say).orEmpty())) }
        line(context.getString(R.string.measure_limit, show(judged.settings.limitMm)))
        rest.addView(context.note(context.say(found.blindTo)), LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(8) })
    }

    private fun show(mm: Double) = figures.show(Quantity.FINE_LENGTH, mm)

    private fun line(text: String) = rest.addView(context.words(text), MATCH_PARENT, WRAP_CONTENT)

    private fun android.widget.TextView.say(words: String) {
        if (text.toString() != words) text = words
    }
}

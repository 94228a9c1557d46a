package gritbook.shell.screens.track

import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.Held
import gritbook.core.TrackRecord
import gritbook.core.enoughCalls
import gritbook.shell.R
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.words
import gritbook.shell.look.HundredView
import gritbook.shell.look.Kit
import gritbook.shell.look.TallyView
import gritbook.shell.look.isScreenReaderFocusableCompat

/** How the calls that were recorded in this book turned out: what was said, what happened. Nothing to do here, only to read. */
class TrackScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private lateinit var shown: LinearLayout
    private var enough = 0uL

    override fun build() = Page(context, word(R.string.track_title), frame.prefs.now.leftHand, frame::leave).apply {
        // Nothing is done here: on its side what is read has the whole width.
        foot().visibility = View.GONE
        shown = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL; id = R.id.record })
    }

    override fun arrived() = ask(work = { it.trackRecord() to enoughCalls() }) { (record, calls) ->
        enough = calls
        show(record)
    }

    private fun show(record: TrackRecord) = shown.run {
        removeAllViews()
        if (record.forecasts == 0uL) {
            put(context.heading(word(R.string.track_none)))
            put(context.words(word(R.string.track_none_advice)))
        } else {
            summary(record)
            record.bins.takeIf { it.size > 1 || record.held == null }?.let { bins ->
                put(context.heading(word(R.string.track_bins)), R.dimen.margin)
                bins.forEach { put(row(Turned(it.forecasts, it.failed, it.meanChance, it.low, it.high, it.held)), R.dimen.margin) }
            }
            told(record)?.let { put(context.words(it), R.dimen.margin) }
        }
        val open = record.withoutOutcome.toInt()
        if (open > 0) put(context.note(context.resources.getQuantityString(R.plurals.track_waiting, open, open)), R.dimen.margin)
    }

    /** Calls of about the same chance, or all of them. */
    private class Turned(val calls: ULong, val failed: ULong, val said: Double, val low: Double, val high: Double, val held: Held?) {
        val was get() = failed.toDouble() / calls.toDouble()
    }

    private fun LinearLayout.summary(record: TrackRecord) {
        val (calls, failed) = record.forecasts.toInt() to record.failed.toInt()
        put(Kit(context).figure("$calls", context.resources.getQuantityString(R.plurals.track_calls, calls), word(R.string.track_over)))
        put(context.words(context.resources.getQuantityString(R.plurals.track_failed, failed, failed, figures.number(record.expected, 1)), bold = true))
        if (record.held == null) {
            put(context.words(word(R.string.track_few, enough.toInt())).apply { id = R.id.too_few })
            return
        }
        put(row(Turned(record.forecasts, record.failed, record.expected / calls, record.low, record.high, record.held)), R.dimen.margin)
        put(context.note(word(R.string.track_key)), R.dimen.margin)
    }

    private fun row(of: Turned): View {
        val (calls, failed) = of.calls.toInt() to of.failed.toInt()
        val count = context.resources.getQuantityString(R.plurals.track_count, calls, calls, failed)
        val said = word(R.string.track_said, share(of.said))
        val held = of.held
        val lines = if (held == null) listOf(context.words(said, bold = true), context.words(count)) else listOf(
            context.words(said, bold = true),
            context.words(word(R.string.track_was, share(of.was)), bold = true),
            context.words(word(verdict(held))),
            context.note("$count. ${word(R.string.track_between, share(of.low), share(of.high))}"),
        )
        val words = LinearLayout(context).apply {
            orientation = LinearLayout.VERTICAL
            lines.forEach(::addView)
        }
        val picture = if (held == null) TallyView(context).show(calls, failed) else HundredView(context).show(of.said, of.was, of.low, of.high)
        return LinearLayout(context).apply {
            isBaselineAligned = false
            isScreenReaderFocusableCompat = true
            contentDescription = lines.joinToString(". ") { it.text }
            // Few calls are one line of squares above their words; with large letters words need the whole width.
            val below = held == null || context.resources.configuration.fontScale >= Page.LARGE
            orientation = if (below) LinearLayout.VERTICAL else LinearLayout.HORIZONTAL
            addView(picture, LinearLayout.LayoutParams(WRAP_CONTENT, WRAP_CONTENT))
            val beside = if (below) LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(4) }
            else LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f).apply { leftMargin = context.dp(12) }
            addView(words, beside)
        }
    }

    private fun verdict(held: Held) = when (held) {
        Held.AS_SAID -> R.string.track_as_said
        Held.MORE -> R.string.track_more
        Held.FEWER -> R.string.track_fewer
    }

    private fun share(of: Double) = figures.number(of * 100, if (of < 0.0995 && of > 0.0) 1 else 0)

    /** Whether the calls were worth more than one chance for all; only where that is a question. */
    private fun told(record: TrackRecord): String? {
        val apart = record.tellsApart ?: return null
        return word(if (apart) R.string.track_apart else R.string.track_not_apart, figures.number(record.brier!!, 3), figures.number(record.brierOfShare!!, 3))
    }

    private fun LinearLayout.put(view: View, gap: Int = R.dimen.step) = addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply {
        topMargin = if (childCount == 0) 0 else context.px(gap)
    })
}

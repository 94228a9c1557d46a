package gritbook.shell.screens.pump

import android.content.Context
import android.text.format.DateUtils
import gritbook.core.GradeSource
import gritbook.core.PumpSummary
import gritbook.core.Quantity
import gritbook.shell.R
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Figures
import gritbook.shell.frame.Vocabulary

/** What is known of a pump, in short lines, what matters most first. */
object PumpLines {
    fun of(context: Context, figures: Figures, pump: PumpSummary): List<String> = buildList {
        add(check(context, pump))
        pump.gravest?.let { add(context.getString(R.string.pump_gravest, it.toInt(), Vocabulary.grade(context, it.toInt()))) }
        pump.pumpM3?.let { add(context.getString(R.string.pump_total, figures.show(Quantity.CONCRETE, it))) }
        addAll(rest(context, pump))
    }

    /** The last box check: its level and when it was. */
    fun check(context: Context, pump: PumpSummary): String {
        val check = pump.lastCheck ?: return context.getString(R.string.home_never_checked)
        val day = ago(check.at.utcMs)
        val level = check.level ?: return context.getString(R.string.pump_checked, day)
        val source = if (check.levelSource == GradeSource.MEASURED) R.string.pump_level_photo else R.string.pump_level_eye
        return context.getString(source, Vocabulary.level(context, level), day)
    }

    /** What else there is to say: a shared name, entries that wait. */
    fun rest(context: Context, pump: PumpSummary): List<String> = buildList {
        if (pump.nameShared) add(context.getString(R.string.pump_name_shared))
        if (pump.waiting > 0uL) add(context.resources.getQuantityString(R.plurals.pump_waiting, pump.waiting.toInt(), pump.waiting.toInt()))
    }

    /** "3 days ago", in the phone's language, as it stands inside a sentence. A clock that was set back shows the day itself. */
    private fun ago(ms: Long): CharSequence {
        val now = Clock.now().utcMs
        return DateUtils.getRelativeTimeSpanString(ms, maxOf(now, ms), DateUtils.MINUTE_IN_MILLIS).toString().replaceFirstChar { it.lowercase() }
    }
}

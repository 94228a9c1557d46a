package gritbook.shell.screens.pump

import android.content.Context
import android.text.format.DateUtils
import gritbook.core.GradeSource
import gritbook.core.PumpSummary
import gritbook.core.gradeNames
import gritbook.shell.R
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Figures
import gritbook.shell.frame.say
import gritbook.shell.screens.check.Levels

/** What is known of a pump, in short lines, what matters most first. */
object PumpLines {
    fun of(context: Context, pump: PumpSummary): List<String> = buildList {
        val check = pump.lastCheck
        if (check == null) {
            add(context.getString(R.string.home_never_checked))
        } else {
            val day = ago(check.at.utcMs)
            val level = check.level
            add(
                if (level == null) context.getString(R.string.pump_checked, day)
                else context.getString(
                    if (check.levelSource == GradeSource.MEASURED) R.string.pump_level_photo else R.string.pump_level_eye,
                    context.getString(Levels.name(level)), day,
                ),
            )
        }
        pump.gravest?.let { add(context.getString(R.string.pump_gravest, it.toInt(), context.say(gradeNames()[it.toInt()]))) }
        pump.pumpM3?.let { add(context.getString(R.string.pump_total, Figures.show(it))) }
        if (pump.nameShared) add(context.getString(R.string.pump_name_shared))
        if (pump.waiting > 0uL) add(context.resources.getQuantityString(R.plurals.pump_waiting, pump.waiting.toInt(), pump.waiting.toInt()))
    }

    /** "3 days ago", in the phone's language. A clock that was set back shows the day itself. */
    private fun ago(ms: Long): CharSequence {
        val now = Clock.now().utcMs
        return DateUtils.getRelativeTimeSpanString(ms, maxOf(now, ms), DateUtils.MINUTE_IN_MILLIS)
    }
}

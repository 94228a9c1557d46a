package gritbook.shell.screens.pump

import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.BreakIn
import gritbook.core.PumpSummary
import gritbook.core.Quantity
import gritbook.shell.R
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.asked
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.words
import gritbook.shell.frame.Vocabulary
import gritbook.shell.look.GritRingView
import gritbook.shell.look.Kit
import gritbook.shell.screens.grade.PartList

/** One pump: what is known of it, and what can be done. */
class PumpScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val pump = at.about
    private lateinit var known: LinearLayout

    override fun build() = Page(context, draft.textOrNull("name").orEmpty(), frame.prefs.now.leftHand, ::leave).apply {
        val remarks = draft.list("remarks")
        if (remarks.isNotEmpty()) say(word(R.string.pump_saved), remarks.joinToString("\n"))
        known = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL })
        put(context.key(word(R.string.track_title), id = R.id.track) { on(Place("track")) })
        put(context.key(word(R.string.pump_edit), id = R.id.edit) { on(Place("edit_pump", pump)) })
        foot(context.key(word(R.string.pump_check), main = true, id = R.id.check) { on(Place("check", pump)) })
        foot(context.keyRow(
            context.key(word(R.string.pump_call), id = R.id.call) { on(Place("call", pump)) },
            context.key(word(R.string.pump_grade), id = R.id.grade) { on(Place("grade", "alone:$pump")) },
            context.key(word(R.string.pump_change), id = R.id.change) { on(Place("change", pump)) },
        ))
    }

    override fun arrived() = ask(work = { it.pumpSummary(pump) to it.breakIn(pump) }) { (known, cups) -> show(known, cups) }

    private fun show(pump: PumpSummary, cups: BreakIn?) {
        page.title(pump.spec.name)
        known.removeAllViews()
        known.addView(box(pump))
        fun apart(view: View) = known.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(8); bottomMargin = context.dp(8) })
        cups?.let { apart(NewCups.view(context, figures, it)) }
        val kit = Kit(context)
        pump.pumpM3?.let { known.addView(kit.figure(figures.bare(Quantity.CONCRETE, it), figures.unit(Quantity.CONCRETE), word(R.string.pump_pumped))) }
        pump.grades.sortedByDescending { it.counts }.forEach { grade ->
            val name = PartList.name(context, grade.part, grade.cup)
            val ring = GritRingView(context).show(grade.counts.toInt(), grade.measured == grade.counts)
            known.addView(kit.signed(ring, name, Vocabulary.grade(context, grade.counts.toInt())))
        }
        PumpLines.rest(context, pump).forEach { known.addView(context.note(it)) }
    }

    /** What the box showed last, and why. */
    private fun box(pump: PumpSummary): View {
        val level = context.words(PumpLines.check(context, pump), bold = true)
        if (pump.lastCheck == null) return level
        val why = context.key(word(R.string.pump_why), id = R.id.why) { on(Place("why", pump.id)) }
        return context.asked(level, why)
    }

    /** What the last save said to look at again is read once, and stands until the person goes on. */
    private fun on(place: Place) {
        readRemarks()
        frame.go(place)
    }

    private fun leave() {
        readRemarks()
        frame.leave()
    }

    override fun back(): Boolean {
        leave()
        return true
    }

    private fun readRemarks() {
        if (draft.list("remarks").isNotEmpty()) frame.trail.forget(at)
    }
}

package gritbook.shell.screens.grade

import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.GradeGiven
import gritbook.core.GradeSource
import gritbook.core.Cup
import gritbook.core.Part
import gritbook.core.PumpSummary
import gritbook.core.criteriaEdition
import gritbook.shell.R
import gritbook.shell.carry.Sending
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Draft
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Vocabulary
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.words
import gritbook.shell.screens.check.Grades

/** One part after the other is given a grade by thumb. Within a box check the grades go into its draft, alone they are saved here. */
class GradeScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val within = at.about.startsWith("check:")
    private val pump = at.about.substringAfter(':')

    /** Where the grades stand until they are saved. */
    private val into: Draft get() = if (within) frame.trail.draft(Place("check", pump)) else draft
    private lateinit var top: LinearLayout
    private lateinit var keys: LinearLayout
    private var summary: PumpSummary? = null
    private var parts: List<Pair<Part, Cup?>> = emptyList()
    private val index get() = draft.json.optInt("part").coerceIn(0, (parts.size - 1).coerceAtLeast(0))

    override fun build() = Page(context, word(R.string.grade_title), frame.prefs.now.leftHand, frame::leave).apply {
        top = put(column())
        keys = foot(column())
    }

    private fun column() = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }

    override fun arrived() = ask(work = { it.pumpSummary(pump) }) { found ->
        summary = found
        parts = PartList.of(Vocabulary.parts, found.spec.seal)
        show()
    }

    private fun show() {
        val (part, cup) = parts[index]
        val given = Grades.get(into, part, cup)
        top.removeAllViews()
        top.addView(context.words(PartList.name(context, part, cup), R.dimen.title, bold = true).apply { id = R.id.part })
        val known = summary?.grades?.find { it.part == part && it.cup == cup }
        known?.let { top.addView(context.words(word(R.string.grade_before, it.counts.toInt(), Vocabulary.grade(context, it.counts.toInt())))) }
        if (given != null) top.addView(context.words(Vocabulary.criterion(context, part, given)))
        keys.removeAllViews()
        fun below(view: android.view.View) = keys.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(8) })
        val grades = (0..4).map { grade ->
            context.key("$grade\n${Vocabulary.grade(context, grade)}", id = GRADE_IDS[grade]) {
                Grades.set(into, part, cup, grade.takeIf { it != given })
                show()
            }.apply { chosen(grade == given) }
        }
        below(context.keyRow(grades[0], grades[1], grades[2], wrapFrom = 3))
        below(context.keyRow(grades[3], grades[4], wrapFrom = 2))
        val last = index == parts.size - 1
        below(
            context.keyRow(
                context.key(word(R.string.grade_next), id = R.id.next) { step(if (last) 0 else index + 1) },
                context.key(word(if (within) R.string.grade_done else R.string.grade_save), main = true, id = R.id.save, act = ::done),
            ),
        )
    }

    private fun step(to: Int) {
        draft.put("part", to)
        show()
    }

    private fun done() {
        if (within) return frame.leave()
        val given = Grades.of(draft)
        if (given.isEmpty()) return frame.leave()
        val total = summary?.pumpM3
        ask(work = { book ->
            given.forEach {
                val made = GradeGiven(it.part, it.cup, it.grade, GradeSource.EYE, criteriaEdition(), total, emptyList(), "")
                book.grade(pump, made, Clock.now())
            }
        }) {
            frame.trail.forget(at)
            Sending.soon(context)
            frame.leave()
        }
    }

    private companion object {
        val GRADE_IDS = listOf(R.id.grade_0, R.id.grade_1, R.id.grade_2, R.id.grade_3, R.id.grade_4)
    }
}

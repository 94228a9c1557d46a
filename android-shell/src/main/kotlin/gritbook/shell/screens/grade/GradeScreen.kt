package gritbook.shell.screens.grade

import gritbook.core.Cup
import gritbook.core.GradeGiven
import gritbook.core.GradeSource
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
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.Vocabulary
import gritbook.shell.look.thumb.ThumbGradeView
import gritbook.shell.screens.check.Grades

/**
 * One part after the other is given a grade by thumb. Lifted, it is set; leaving keeps what was set: within a box check in the
 * check, alone in the book.
 */
class GradeScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val within = at.about.startsWith("check:")
    private val pump = at.about.substringAfter(':')

    /** Where the grades stand until they are saved. */
    private val into: Draft get() = if (within) frame.trail.draft(Place("check", pump)) else draft
    private lateinit var thumb: ThumbGradeView
    private var summary: PumpSummary? = null
    private var parts: List<Pair<Part, Cup?>> = emptyList()
    private var saving = false
    private val index get() = draft.json.optInt("part").coerceIn(0, (parts.size - 1).coerceAtLeast(0))

    override fun build() = Page(context, word(R.string.grade_title), frame.prefs.now.leftHand) { leaveKeeping() }.apply {
        action(word(R.string.grade_next), R.id.next) { if (parts.isNotEmpty()) step((index + 1) % parts.size) }
        thumb = fill(ThumbGradeView(context).apply {
            id = R.id.thumb
            isSaveFromParentEnabled = false
            leftHand = frame.prefs.now.leftHand
        })
    }

    override fun arrived() = ask(work = { it.pumpSummary(pump) }) { found ->
        summary = found
        parts = PartList.of(Vocabulary.parts, found.spec.seal)
        show()
    }

    private fun show() {
        val (part, cup) = parts[index]
        val called = PartList.name(context, part, cup)
        val measured = summary?.grades?.find { it.part == part && it.cup == cup }?.measured?.toInt()
        page.title(called)
        thumb.onGrade = {}
        thumb.show(part, called, Grades.get(into, part, cup), measured)
        thumb.onGrade = { Grades.set(into, part, cup, it) }
    }

    private fun step(to: Int) {
        draft.put("part", to)
        show()
    }

    override fun back(): Boolean {
        leaveKeeping()
        return true
    }

    private fun leaveKeeping() {
        val given = if (within) emptyList() else Grades.of(draft)
        if (given.isEmpty()) {
            frame.trail.forget(at)
            return frame.leave()
        }
        if (saving) return
        saving = true
        val total = summary?.pumpM3
        ask(failed = { saving = false; page.tell(Trouble.of(it)) }, work = { book ->
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
}

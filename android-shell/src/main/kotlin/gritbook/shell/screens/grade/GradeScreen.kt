package gritbook.shell.screens.grade

import android.graphics.drawable.Drawable
import gritbook.core.Cup
import gritbook.core.GradesDraft
import gritbook.core.Part
import gritbook.core.PumpSummary
import gritbook.core.newWork
import gritbook.shell.R
import gritbook.shell.carry.Pictures
import gritbook.shell.carry.Sending
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Draft
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.Vocabulary
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.look.CameraSign
import gritbook.shell.look.GaugeSign
import gritbook.shell.look.Look
import gritbook.shell.look.photo.WearPairView
import gritbook.shell.look.thumb.ThumbGradeView
import gritbook.shell.screens.check.Grades
import gritbook.shell.screens.check.WearShots
import gritbook.shell.screens.measure.BoreScreen
import java.io.File
import java.text.DateFormat
import java.util.Date

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
    private val measure by lazy { signKey(word(R.string.measure_bore), word(R.string.measure_key), R.id.measure, GaugeSign(Look(context)), ::toMeasure) }
    private val pair = WearPairView(context).apply { id = R.id.wear_pair }
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
            photoKey = cameraKey()
            photos = pair
        })
    }

    private fun cameraKey() = signKey(word(R.string.wear_photograph), word(R.string.photo_plain), R.id.photograph, CameraSign(Look(context))) { toPhotos(atOnce = true) }

    /** A key with a sign over its word. */
    private fun signKey(says: String, word: String, id: Int, sign: Drawable, act: () -> Unit) = context.key("", id = id, act = act).apply {
        contentDescription = says
        // With large letters the sign alone fits a glove's key.
        if (context.resources.configuration.fontScale >= Page.LARGE) {
            foreground = sign
        } else {
            text = word
            sign.setBounds(0, 0, context.dp(44), context.dp(40))
            setCompoundDrawables(null, sign, null, null)
        }
    }

    override fun arrived() {
        // Named once: saved again after the process ended in between, the grades still stand once.
        if (!within && draft.textOrNull("work") == null) away(work = { newWork(Clock.now()) }) { draft.put("work", it) }
        val worn = WearShots.all(into)
        away(work = { worn.filterNot { Shots.file(context, it).exists() }.toSet() }) { gone ->
            if (gone.isNotEmpty()) {
                WearShots.drop(into, gone)
                page.say(word(R.string.check_photo_gone), word(R.string.wear_gone_advice))
            }
        }
        ask(work = { it.pumpSummary(pump) }) { found ->
            summary = found
            parts = PartList.of(Vocabulary.parts, found.spec.seal)
            show()
        }
    }

    private fun show() {
        val (part, cup) = parts[index]
        val called = PartList.name(context, part, cup)
        val measured = summary?.grades?.find { it.part == part && it.cup == cup }?.measured?.toInt()
        page.title(called)
        thumb.onGrade = {}
        thumb.show(part, called, Grades.get(into, part, cup), measured)
        thumb.onGrade = { Grades.set(into, part, cup, it) }
        thumb.moreKey = measure.takeIf { part == Part.BORE }
        showPhotos(part, cup)
    }

    /** The newest photo taken now beside the newest one kept before, where there is either. */
    private fun showPhotos(part: Part, cup: Cup?) {
        val shots = WearShots.of(into, Grades.key(part, cup))
        val called = PartList.name(context, part, cup)
        pair.visibility = android.view.View.GONE
        ask(work = { book ->
            val last = book.wearPhotos(pump, part, cup, 1u).firstOrNull()
            val now = shots.lastOrNull()?.let { small(Shots.file(context, it)) }
            Triple(now, last, last?.path?.let { small(File(it)) })
        }) { (now, last, lastPicture) ->
            if (parts.getOrNull(index) != part to cup || (shots.isEmpty() && last == null)) return@ask
            val day = last?.let { DateFormat.getDateInstance(DateFormat.SHORT).format(Date(it.at.utcMs)) } ?: word(R.string.wear_none_before)
            val fresh = if (shots.isEmpty()) word(R.string.wear_none_now) else word(R.string.wear_now)
            pair.show(WearPairView.Side(now, fresh), WearPairView.Side(lastPicture, day), word(R.string.wear_pair_says, called, fresh, day))
            pair.setOnClickListener { toPhotos(atOnce = false) }
        }
    }

    private fun small(file: File) = runCatching { Pictures.read(file, SMALL).bitmap }.getOrNull()

    private fun toPhotos(atOnce: Boolean) {
        val (part, cup) = parts.getOrNull(index) ?: return
        val place = WearPlace(at, part, cup).place
        if (atOnce) frame.trail.draft(place).put("at_once", true)
        frame.go(place)
    }

    /** To the gauge, at this side; what was typed there and not kept yet stays. */
    private fun toMeasure() {
        val place = Place(BoreScreen.SCREEN, pump)
        parts.getOrNull(index)?.second?.let { frame.trail.draft(place).put(BoreScreen.SIDE, it.name) }
        frame.go(place)
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
        val bare = parts.indexOfFirst { (part, cup) -> Grades.get(into, part, cup) == null && WearShots.of(into, Grades.key(part, cup)).isNotEmpty() }
        if (bare >= 0) {
            // A photo without a grade has no place in the record: it is told, not dropped.
            step(bare)
            return page.say(word(R.string.wear_no_grade, PartList.name(context, parts[bare].first, parts[bare].second)), word(R.string.wear_no_grade_advice))
        }
        if (within || Grades.none(draft)) return done()
        if (saving) return
        saving = true
        val total = summary?.pumpM3
        ask(failed = { saving = false; page.tell(Trouble.of(it)) }, work = { book ->
            book.saveGrades(GradesDraft(pump, total, Grades.of(context, draft), draft.textOrNull("work")), Clock.now())
        }) {
            val kept = WearShots.all(draft)
            frame.desk.away(work = { kept.forEach { Shots.file(context, it).delete() } }, then = {})
            Sending.soon(context)
            done()
        }
    }

    private fun done() {
        parts.forEach { (part, cup) -> frame.trail.forget(WearPlace(at, part, cup).place) }
        frame.trail.forget(at)
        frame.leave()
    }

    private companion object {
        /** Longest side of a small photo, px. */
        const val SMALL = 360
    }
}

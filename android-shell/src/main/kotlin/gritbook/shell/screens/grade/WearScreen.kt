package gritbook.shell.screens.grade

import android.content.Intent
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.PumpSummary
import gritbook.core.Quantity
import gritbook.core.WearPhoto
import gritbook.core.measureFace
import gritbook.shell.R
import gritbook.shell.carry.Pictures
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Draft
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.Vocabulary
import gritbook.shell.frame.capital
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.photo.WearPane
import gritbook.shell.screens.check.Grades
import gritbook.shell.screens.check.WearShots
import java.io.File
import java.text.DateFormat
import java.util.Date

/** One part's wear surface: the photo taken now beside the last ones of the same part, moved and zoomed in step. */
class WearScreen(at: Place, private val wear: WearPlace, frame: Frame) : Screen(at, frame) {
    private val into: Draft get() = frame.trail.draft(if (wear.within) Place("check", wear.pump) else wear.grading)
    private val key = Grades.key(wear.part, wear.cup)
    private val shots get() = WearShots.of(into, key)
    private lateinit var pair: LinearLayout
    private lateinit var headline: LinearLayout
    private lateinit var told: LinearLayout
    private lateinit var foot: LinearLayout
    private val now = WearPane(context).apply { id = R.id.wear_now; isSaveFromParentEnabled = false }
    private val last = WearPane(context).apply { id = R.id.wear_last; isSaveFromParentEnabled = false }
    private var summary: PumpSummary? = null

    /** Photos kept before, newest first; null until the book was asked. */
    private var before: List<WearPhoto>? = null

    /** Which of the new and of the earlier photos are shown, counted from the newest. */
    private var newer = 0
    private var older: Int
        get() = draft.json.optInt("older")
        set(value) = draft.put("older", value)

    override fun build() = Page(context, PartList.name(context, wear.part, wear.cup), frame.prefs.now.leftHand, frame::leave).apply {
        WearPane.inStep(now, last)
        fun lines(id: Int) = put(LinearLayout(context).apply {
            this.id = id
            orientation = LinearLayout.VERTICAL
            accessibilityLiveRegion = View.ACCESSIBILITY_LIVE_REGION_POLITE
        })
        headline = lines(R.id.wear_headline)
        pair = put(LinearLayout(context).apply {
            isBaselineAligned = false
            // Two fingers, one on each photo, are one pinch: each alone is too narrow for it.
            isMotionEventSplittingEnabled = false
        })
        told = lines(R.id.wear_told)
        foot = foot()
    }

    override fun arrived() {
        show()
        ask(work = { it.pumpSummary(wear.pump) to it.wearPhotos(wear.pump, wear.part, wear.cup, MOST) }) { (found, photos) ->
            summary = found
            before = photos
            show()
        }
        away(work = { shots.filterNot { Shots.file(context, it).exists() } }) { gone ->
            if (gone.isNotEmpty()) {
                WearShots.set(into, key, shots - gone.toSet())
                page.say(word(R.string.check_photo_gone), word(R.string.wear_gone_advice))
                show()
            }
        }
        if (draft.json.optBoolean("at_once")) {
            draft.put("at_once", false)
            draft.put("return", true)
            photograph()
        }
    }

    private fun show() {
        showPair()
        showFoot()
        measure()
    }

    /** What is measured now or was last: the new photo, the one beside it, and the outline that was drawn on the new one. */
    private var measured: Triple<File, File?, List<Double>?>? = null

    /** The new photo that is shown. */
    private val shot get() = shots.asReversed().getOrNull(newer)

    /** What the photo shows, once both sides are known. */
    private fun measure() {
        val earlier = before ?: return
        val pair = shot?.let { Triple(Shots.file(context, it), beside(earlier)?.path?.let(::File), Outlines.of(into, it)) }
        if (pair == measured) return
        measured = pair
        now.marks = emptyList()
        if (pair == null) return tellLines()
        val (file, last, outline) = pair
        tellLines(word(R.string.wear_measuring))
        val barMm = frame.prefs.now.barMm
        away(Desk.Lane.EYE, failed = { if (measured == pair) tellNotMeasured(it) }, work = { measureFace(file.path, last?.path, barMm, outline) }) { face ->
            if (measured != pair) return@away
            now.marks = face.marks.map { it.outlinePx }
            tellLines(*face.lines.map(context::say).toTypedArray())
        }
    }

    /** The first line over the photos, the rest below them. */
    private fun tellLines(vararg lines: String) {
        headline.removeAllViews()
        told.removeAllViews()
        lines.forEachIndexed { at, line -> if (at == 0) headline.addView(context.words(line, bold = true)) else told.addView(context.note(line)) }
    }

    private fun tellNotMeasured(why: Throwable) {
        val trouble = context.say(Trouble.of(why))
        tellLines(word(R.string.wear_not_measured), trouble.reason.capital(), trouble.advice.capital())
    }

    private fun showPair() = pair.run {
        removeAllViews()
        // Beside each other at any type size: only so can they be compared.
        fun side(view: View, first: Boolean) = addView(view, LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f).apply { if (!first) leftMargin = context.dp(8) })
        side(sideNow(), true)
        side(sideLast(), false)
    }

    private fun column(vararg views: View) = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        views.forEach { addView(it, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(4) }) }
    }

    private fun pane(of: WearPane) = of.apply { (parent as? LinearLayout)?.removeView(this) }

    private fun LinearLayout.first(view: View) =
        addView(view, 0, LinearLayout.LayoutParams(MATCH_PARENT, context.resources.displayMetrics.heightPixels * (if (context.resources.displayMetrics.run { heightPixels < widthPixels }) 36 else 30) / 100))

    private fun sideNow(): View {
        val name = shot ?: return column(context.words(word(R.string.wear_now), bold = true), context.words(word(R.string.wear_none_now)))
        val grade = Grades.get(into, wear.part, wear.cup)
        val total = figures.parseOrNull(Quantity.CONCRETE, into.textOrNull("total")) ?: summary?.pumpM3
        val side = column(*captions(word(R.string.wear_now), total, grade, shots.size, newer, false).toTypedArray())
        if (shots.size > 1) side.addView(context.key(word(R.string.wear_next), id = R.id.wear_next_now) { newer = (newer + 1) % shots.size; show() })
        side.first(pane(now))
        now.contentDescription = word(R.string.wear_says_now, PartList.name(context, wear.part, wear.cup))
        load(now, Shots.file(context, name))
        return side
    }

    /** The earlier photo that is shown; null where there is none. */
    private fun beside(all: List<WearPhoto>) = all.getOrNull(older.coerceIn(0, (all.size - 1).coerceAtLeast(0)))

    private fun sideLast(): View {
        val all = before ?: return column()
        val photo = beside(all) ?: return column(context.words(word(R.string.wear_before), bold = true), context.words(word(R.string.wear_none_before)).apply { id = R.id.wear_none })
        val date = DateFormat.getDateInstance(DateFormat.MEDIUM).format(Date(photo.at.utcMs))
        val side = column(*captions(date, photo.pumpM3, photo.grade.toInt(), all.size, older, photo.ofPartBefore).toTypedArray())
        if (all.size > 1) side.addView(context.key(word(R.string.wear_older), id = R.id.wear_next_last) { older = (older + 1) % all.size; show() })
        val path = photo.path
        if (path == null) {
            side.addView(context.words(word(R.string.wear_not_here)), 0)
            return side
        }
        side.first(pane(last))
        last.contentDescription = word(R.string.wear_says_last, PartList.name(context, wear.part, wear.cup), date)
        load(last, File(path))
        return side
    }

    private fun captions(day: String, total: Double?, grade: Int?, count: Int, at: Int, ofPartBefore: Boolean): List<View> = listOfNotNull(
        context.words(day, bold = true),
        total?.let { context.words(figures.show(Quantity.CONCRETE, it)) },
        context.words(grade?.let { word(R.string.thumb_short, it, Vocabulary.grade(context, it)) } ?: word(R.string.grade_none)),
        if (ofPartBefore) context.note(word(R.string.wear_part_before)) else null,
        if (count > 1) context.note(word(R.string.wear_of, at + 1, count)) else null,
    )

    /** What each pane shows, or is about to. */
    private val shown = HashMap<WearPane, File>()

    private fun load(pane: WearPane, file: File) {
        if (shown[pane] == file) return
        shown[pane] = file
        away(Desk.Lane.EYE, failed = {
            if (shown[pane] == file) shown.remove(pane)
            page.say(word(R.string.check_photo_gone), word(R.string.wear_gone_advice))
        }, work = { Pictures.read(file) }) { picture ->
            if (shown[pane] != file) return@away
            pane.show(picture.bitmap, picture.fullWidth, picture.fullHeight)
            pane.post { (if (pane === now) last else now).stance?.let(pane::stand) }
        }
    }

    private fun showFoot() = foot.run {
        removeAllViews()
        val others = mutableListOf<View>(context.key(word(R.string.check_pick), id = R.id.pick) { pick() })
        if (shots.isNotEmpty()) others += context.key(word(R.string.wear_take_away), id = R.id.wear_take_away) { takeAway() }
        if (shot != null) others += context.key(word(R.string.outline_draw), id = R.id.outline) { toOutline() }
        addView(context.keyRow(*others.toTypedArray()))
        val again = word(if (shots.isEmpty()) R.string.check_photograph else R.string.wear_another)
        addView(context.key(again, main = true, id = R.id.photograph) { photograph() }, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.resources.getDimensionPixelSize(R.dimen.touch_gap) })
    }

    /** To where the surface is shown by hand, on the photo that is seen now. */
    private fun toOutline() {
        val place = Place(OutlineScreen.SCREEN, wear.place.about)
        frame.trail.draft(place).put("shot", shot)
        frame.go(place)
    }

    private fun takeAway() {
        val name = shot ?: return
        newer = 0
        WearShots.set(into, key, shots - name)
        away(work = { Shots.file(context, name).delete() }) {}
        show()
    }

    private fun photograph() {
        val name = Shots.newName()
        draft.put("pending", name)
        Shots.askCamera(frame.activity, name)?.let { page.say(word(it), word(R.string.wear_no_camera_advice)) }
    }

    private fun pick() {
        draft.put("pending", Shots.newName())
        Shots.askPicker(frame.activity)?.let { page.say(word(it), word(R.string.wear_no_camera_advice)) }
    }

    override fun result(request: Int, code: Int, data: Intent?) {
        val name = draft.textOrNull("pending") ?: return
        draft.put("pending", null)
        val back = draft.json.optBoolean("return")
        draft.put("return", false)
        if (code != android.app.Activity.RESULT_OK) {
            away(work = { Shots.file(context, name).delete() }) {}
            return
        }
        val from = data?.data
        away(Desk.Lane.EYE, failed = ::notTaken, work = { Shots.arrived(context, request, from, name) }) { there ->
            if (!there) return@away notTaken(null)
            newer = 0
            WearShots.set(into, key, shots + name)
            page.sayNothing()
            // Photographed from the thumb's screen: back to it, the photos stand there side by side.
            if (back) frame.leave() else show()
        }
    }

    private fun notTaken(why: Throwable?) {
        val trouble = why?.let { Trouble.of(it) }
        if (trouble?.code == "storage_full") page.tell(trouble) else page.say(word(R.string.check_not_taken), word(R.string.wear_not_taken_advice))
    }

    private companion object {
        /** How many earlier photos can be looked through. */
        const val MOST = 12u
    }
}

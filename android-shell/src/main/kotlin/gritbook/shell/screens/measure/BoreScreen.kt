package gritbook.shell.screens.measure

import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.Button
import android.widget.LinearLayout
import gritbook.core.BorePlace
import gritbook.core.Cup
import gritbook.core.Part
import gritbook.core.Precaution
import gritbook.core.PumpSpec
import gritbook.core.Quantity
import gritbook.core.Words
import gritbook.core.borePlacesSource
import gritbook.core.handInBore
import gritbook.core.newWork
import gritbook.core.usualBorePlaces
import gritbook.core.usualBoreSettings
import gritbook.shell.R
import gritbook.shell.carry.Sending
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.capital
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.markHeading
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.SketchView
import gritbook.shell.look.sketch.gaugeSketch
import gritbook.shell.screens.changeout.Cautions
import gritbook.shell.screens.grade.PartList

/**
 * The bores of a pump, measured by hand: diameters at the book's usual places, what they come to while they are typed, kept for each side
 * that has some. The caution of the change-out's own step stands before it all.
 */
class BoreScreen(at: Place, frame: Frame) : Screen(at, frame) {
    /** What the book says before anything is typed. */
    private class Told(val spec: PumpSpec, val places: List<BorePlace>, val source: Words, val caution: Precaution, val stepMm: Double, val works: List<String>)

    private val pump = at.about
    private val side: Cup get() = draft.choice<Cup>(SIDE) ?: Cup.A
    private val result = BoreResult(context, figures)
    private lateinit var form: LinearLayout
    private lateinit var keep: Button
    private var told: Told? = null
    private var sheet: BoreSheet? = null
    private var sides: List<Button> = emptyList()
    private var fields: List<BoreFields> = emptyList()
    private var judged: Judged? = null
    private var asked = 0
    private var saving = false

    override fun build() = Page(context, title(), frame.prefs.now.leftHand, ::leave).apply {
        form = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL })
        foot(result.brief)
        keep = foot(context.key(word(R.string.measure_keep), main = true, id = R.id.save, act = ::keep))
    }

    private fun name(cup: Cup) = PartList.name(context, Part.BORE, cup)

    /** What was typed stays; where nothing was, the next one begins with the pump's figures as they are then. */
    private fun leave() {
        val bare = sheet?.let { sheet -> Cup.entries.all { sheet.count(draft, it) == 0 } && draft.text(BoreSheet.CHROME).isBlank() }
        if (bare == true) frame.trail.forget(at)
        frame.leave()
    }

    override fun back(): Boolean {
        leave()
        return true
    }

    private fun title() = word(R.string.measure_title, name(side))

    override fun arrived() = ask(work = { book ->
        val spec = book.pumpSummary(pump).spec
        Told(spec, usualBorePlaces(spec.strokeMm), borePlacesSource(), handInBore(), usualBoreSettings(spec.boreMm).resolutionMm, Cup.entries.map { newWork(Clock.now()) })
    }) { found ->
        told = found
        sheet = BoreSheet(found.places, figures)
        begin(found)
        show(found)
    }

    /** What is not typed yet, as the pump and its book have it; each side named once: kept again after the process ended, it stands once. */
    private fun begin(found: Told) = draft.edit {
        Cup.entries.zip(found.works) { cup, name -> if (!has(work(cup))) put(work(cup), name) }
        if (!has(BoreSheet.NEW)) put(BoreSheet.NEW, figures.typed(Quantity.FINE_LENGTH, found.spec.boreMm))
        if (!has(BoreSheet.STEP)) put(BoreSheet.STEP, figures.typed(Quantity.FINE_LENGTH, found.stepMm))
    }

    private fun show(found: Told) {
        page.title(title())
        page.root.removeCallbacks(tellNow)
        form.removeAllViews()
        val unit = figures.unit(Quantity.FINE_LENGTH)
        put(Cautions.view(context, found.caution.caution.signal, context.say(found.caution.caution.text)))
        put(context.note(context.say(found.caution.first)))
        sides = Cup.entries.zip(listOf(R.id.side_a, R.id.side_b)) { cup, id -> context.key(name(cup), id = id) { turnTo(cup) } }
        put(context.keyRow(*sides.toTypedArray()))
        val stations = found.places.withIndex().groupBy { it.value.stationMm }.values.map { of ->
            BoreFields(context, context.say(of.first().value.station).capital(), of.map { (at, place) -> diameter(at, place) })
        }
        fields = stations + listOf(
            setting(BoreSheet.NEW, R.string.measure_new, R.id.bore_new, unit),
            setting(BoreSheet.CHROME, R.string.measure_chrome, R.id.bore_chrome, unit),
            setting(BoreSheet.STEP, R.string.measure_step, R.id.bore_step, unit),
        )
        put(context.words(word(R.string.measure_diameters, unit)).also(::markHeading), 16)
        put(SketchView(context, gaugeSketch(), ofHeight = 5))
        stations.forEach { put(it) }
        put(result.rest, 16)
        fields.drop(stations.size).forEach { put(it, 16) }
        put(context.note(word(R.string.measure_source, context.say(found.source))))
        judge()
    }

    private fun put(view: View, gap: Int = 12) = form.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = if (form.childCount == 0) 0 else context.dp(gap) })

    private fun diameter(at: Int, place: BorePlace): BoreFields.Named {
        val direction = context.say(place.direction)
        return named(BoreSheet.key(side, at), direction.capital(), word(R.string.measure_field, context.say(place.station).capital(), direction), PLACE_IDS[at % PLACE_IDS.size])
    }

    private fun setting(key: String, label: Int, id: Int, unit: String) = word(label).let { BoreFields(context, null, listOf(named(key, word(R.string.measure_field, it, unit), it, id))) }

    private fun named(key: String, label: String, called: String, id: Int) = BoreFields.Named(key, called, Field(context, label, id, true, draft.text(key)) { typed(key, it) }.apply {
        edit.setOnFocusChangeListener { _, _ -> tell(now = false) }
    })

    private fun typed(key: String, text: String) {
        draft.put(key, text)
        judge()
    }

    private fun turnTo(cup: Cup) {
        draft.put(SIDE, cup.name)
        told?.let(::show)
    }

    /** Asks the book what stands in the fields; an answer that a later key has overtaken is dropped. */
    private fun judge() {
        val sheet = sheet ?: return
        val (cup, typed) = side to sheet.typed(draft, side)
        val mine = ++asked
        showSides(sheet)
        away(work = { sheet.judge(cup, typed) }) {
            if (mine != asked) return@away
            judged = it
            result.show(it, told?.places?.size ?: 0)
            tell(now = false)
        }
    }

    private fun showSides(sheet: BoreSheet) {
        Cup.entries.zip(sides) { cup, key ->
            val count = sheet.count(draft, cup)
            key.text = if (count == 0) name(cup) else word(R.string.measure_side, name(cup), count)
            key.chosen(cup == side)
        }
        val typed = Cup.entries.filter { sheet.count(draft, it) > 0 }
        keep.text = when (typed.size) {
            0 -> word(R.string.measure_keep)
            1 -> word(R.string.measure_keep_one, name(typed.single()).replaceFirstChar { it.lowercase() })
            else -> word(R.string.measure_keep_both)
        }
    }

    private val tellNow = Runnable { tell(now = true) }

    /** Says what cannot be beside its field: when the field is left, or when no key came for a while. */
    private fun tell(now: Boolean) {
        val refused = judged?.refused ?: return
        page.root.removeCallbacks(tellNow)
        if (fields.count { it.tell(refused, now) } > 0) page.root.postDelayed(tellNow, PATIENCE_MS)
    }

    override fun left() {
        page.root.removeCallbacks(tellNow)
    }

    private fun keep() {
        val sheet = sheet ?: return
        if (saving) return
        val typed = Cup.entries.filter { sheet.count(draft, it) > 0 }.map { Triple(it, sheet.typed(draft, it), draft.text(work(it))) }
        if (typed.isEmpty()) return page.say(word(R.string.measure_none), word(R.string.measure_none_advice))
        saving = true
        ask(failed = { saving = false; page.tell(Trouble.of(it)) }, work = { book ->
            val all = typed.map { (cup, text, work) -> Triple(cup, sheet.judge(cup, text), work) }
            // All or none: a figure that cannot be on one side keeps the other one waiting too.
            val bad = all.find { (_, judged) -> judged.refused.isNotEmpty() }
            if (bad == null) {
                val totalM3 = book.pumpSummary(pump).pumpM3
                all.forEach { (cup, judged, work) -> judged.found?.wear?.taken?.let { book.measure(pump, it.copy(cup = cup, pumpM3 = totalM3, work = work), Clock.now()) } }
            }
            bad?.let { (cup, judged) -> cup to judged }
        }) { bad ->
            saving = false
            if (bad != null) return@ask refuse(bad.first, bad.second)
            frame.trail.forget(at)
            Sending.soon(context)
            frame.leave()
        }
    }

    /** Nothing was kept: the first field that cannot be is shown with what the book says of it. */
    private fun refuse(cup: Cup, found: Judged) {
        if (cup != side) turnTo(cup)
        judged = found
        tell(now = true)
        val (key, trouble) = found.refused.entries.first()
        val edit = fields.firstNotNullOfOrNull { it.field(key) }?.edit ?: return page.tell(trouble)
        edit.requestFocus()
        (edit.parent as View).requestRectangleOnScreen(android.graphics.Rect(0, 0, edit.width, edit.bottom + context.px(R.dimen.touch)))
    }

    companion object {
        const val SCREEN = "bore"

        /** In the draft: which side is shown. */
        const val SIDE = "side"

        private fun work(cup: Cup) = "work.${cup.name}"

        /** How long a figure may be half typed, ms. */
        private const val PATIENCE_MS = 900L

        private val PLACE_IDS = listOf(R.id.bore_at_1, R.id.bore_at_2, R.id.bore_at_3, R.id.bore_at_4, R.id.bore_at_5, R.id.bore_at_6)
    }
}

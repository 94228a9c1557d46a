package gritbook.shell.screens.check

import android.app.AlertDialog
import android.content.Intent
import android.graphics.RectF
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.widget.LinearLayout
import gritbook.core.BoxCheckDraft
import gritbook.core.GrainKind
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.core.PumpSummary
import gritbook.core.Quantity
import gritbook.core.newWork
import gritbook.core.ReadingFacts
import gritbook.shell.R
import gritbook.shell.carry.Sending
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.Vocabulary
import gritbook.shell.frame.capital
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.LevelStripView
import gritbook.shell.look.SketchView
import gritbook.shell.look.photo.GrainMark
import gritbook.shell.look.photo.OverlayPhotoView
import gritbook.shell.look.sketch.cardSketch

/**
 * The box was drained: photo, reading, liquid, total, grades, saved. One question at a time stands under the thumb; what was answered
 * stands above and can be touched to answer it again.
 */
class CheckScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val pump = at.about
    private lateinit var seen: OverlayPhotoView
    private lateinit var verdict: LinearLayout
    private lateinit var answers: LinearLayout
    private lateinit var foot: LinearLayout
    private val eye = Eye(context, frame.desk, frame.prefs.now.limits, frame.prefs.now.barMm) { if (alive) readingChanged() }
    private var summary: PumpSummary? = null
    private var saving = false

    private enum class Ask { PHOTO, EYE, LIQUID, REST, TOTAL, SETTLED }

    private val shots get() = draft.list("shots")
    private val liquid get() = draft.choice<Liquid>("liquid")
    private val byEye get() = draft.choice<LevelCode>("by_eye")

    private val ask: Ask
        get() = draft.choice<Ask>("ask") ?: when {
            shots.isEmpty() && byEye == null -> Ask.PHOTO
            eye.refusal != null && byEye == null -> Ask.PHOTO
            liquid == null -> Ask.LIQUID
            else -> Ask.REST
        }

    override fun build() = Page(context, word(R.string.check_title), frame.prefs.now.leftHand, frame::leave).apply {
        seen = put(OverlayPhotoView(context).apply { id = R.id.seen; visibility = View.GONE; isSaveFromParentEnabled = false })
        seen.layoutParams.height = context.dp(168)
        verdict = put(column())
        answers = put(column())
        foot = foot().apply { id = R.id.question }
    }

    private fun column() = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }

    override fun arrived() {
        refresh()
        ask(work = { it.pumpSummary(pump) }) {
            summary = it
            refresh()
        }
        dropGone { look() }
        if (draft.json.length() == 0) {
            draft.put("begun", true)
            photograph()
        }
        // Named once: saved again after the process ended in between, the check still stands once.
        if (draft.textOrNull("work") == null) away(work = { newWork(Clock.now()) }) { draft.put("work", it) }
    }

    /** A photo that was deleted under us is told and no longer waited for. */
    private fun dropGone(then: (Boolean) -> Unit) {
        val (box, worn) = shots to WearShots.all(draft)
        away(work = { (box + worn).filterNot { Shots.file(context, it).exists() }.toSet() }) { gone ->
            if (gone.isNotEmpty()) {
                draft.putList("shots", shots - gone)
                WearShots.drop(draft, gone)
                page.say(word(R.string.check_photo_gone), word(R.string.check_photo_gone_advice))
            }
            then(gone.isNotEmpty())
        }
    }

    override fun left() = eye.close()

    /** Shows and reads the photo that counts: the last one taken for reading. */
    private fun look() {
        val name = draft.textOrNull("read")?.takeIf { it in shots } ?: shots.lastOrNull()
        eye.look(name, Ruler.scale(draft, name))
        refresh()
    }

    private fun readingChanged() {
        eye.picture?.let { picture ->
            seen.visibility = View.VISIBLE
            seen.show(picture.bitmap, picture.fullWidth, picture.fullHeight, eye.facts?.let(::around))
            seen.grains = marks()
        }
        if (eye.picture == null) seen.visibility = View.GONE
        eye.failure?.let { page.tell(it) }
        if (eye.facts != null) page.sayNothing()
        eye.refusal?.let { page.tell(it, R.id.refused) }
        refresh()
        if (saving && !eye.busy) finish()
    }

    private fun marks(): List<GrainMark> = eye.facts?.grains.orEmpty().zip(eye.outlines) { grain, outline ->
        val size = figures.bare(Quantity.GRAIN_SIZE, grain.ecdMm)
        val words = when {
            grain.cut -> R.string.photo_cut
            grain.kind == GrainKind.LUMP -> R.string.photo_lump
            grain.mayBeLump -> R.string.photo_maybe_lump
            else -> R.string.photo_grain
        }
        GrainMark(FloatArray(outline.size) { outline[it].toFloat() }, word(words, size))
    }

    /** The window of the card with a little around it. */
    private fun around(facts: ReadingFacts): RectF {
        val corners = facts.scale.windowCornersPx
        val box = RectF(
            corners.minOf { it.xPx }.toFloat(), corners.minOf { it.yPx }.toFloat(),
            corners.maxOf { it.xPx }.toFloat(), corners.maxOf { it.yPx }.toFloat(),
        )
        box.inset(-box.width() * 0.03f, -box.height() * 0.03f)
        return box
    }

    private fun refresh() {
        showVerdict()
        showAnswers()
        showQuestion()
    }

    private fun showVerdict() = verdict.run {
        removeAllViews()
        val facts = eye.facts
        val eyeLevel = byEye
        when {
            facts != null -> page.title(Vocabulary.level(context, facts.level.code), answer = true)
            eye.busy -> page.title(word(R.string.check_reading))
            eyeLevel != null -> page.title(Vocabulary.level(context, eyeLevel), answer = true)
            else -> page.title(word(R.string.check_title))
        }
        if (facts != null) {
            addView(context.words(Vocabulary.meaning(context, facts.level.code), bold = true))
            // What the photo does not show surely stands where it is seen without scrolling.
            facts.quality.findings.forEach { addView(context.words(context.say(Trouble(it.code, "", it.advice)).advice.capital())) }
            addView(LevelStripView(context).show(facts, Vocabulary.level(context, facts.level.code)), LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT))
            facts.level.reasons.forEach { addView(context.words(Levels.reason(context, figures, it))) }
        }
        if (ask == Ask.PHOTO && eye.name == null && eyeLevel == null) {
            addView(context.words(word(R.string.check_locked), bold = true))
            addView(SketchView(context, cardSketch()), LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT))
            addView(context.words(word(R.string.check_how)))
        }
        if (ask == Ask.EYE) LevelCode.entries.forEach { level ->
            val name = Vocabulary.level(context, level)
            addView(LevelStripView(context).showByEye(level, name), LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = context.dp(8) })
            addView(context.note(name).apply { importantForAccessibility = View.IMPORTANT_FOR_ACCESSIBILITY_NO })
        }
        if (eyeLevel != null) addView(context.words(word(R.string.check_by_eye_is, Vocabulary.level(context, eyeLevel)), bold = facts == null))
    }

    private fun showAnswers() = answers.run {
        removeAllViews()
        fun line(text: CharSequence, id: Int, again: Ask) = addView(
            context.key(text, id = id) { draft.put("ask", again.name); refresh() },
            LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = context.dp(8) },
        )
        if (ask != Ask.REST) return@run
        if (shots.isNotEmpty()) line(context.resources.getQuantityString(R.plurals.check_photos, shots.size, shots.size), R.id.photos_line, Ask.PHOTO)
        liquid?.let { line(word(R.string.check_liquid_is, Vocabulary.liquid(context, it)), R.id.liquid_line, Ask.LIQUID) }
        val settled = draft.textOrNull("settled")?.takeIf { it.isNotBlank() }
        line(if (settled == null) word(R.string.check_settled_not) else word(R.string.check_settled_is, settled, figures.unit(Quantity.MATERIAL)), R.id.settled_line, Ask.SETTLED)
        line(word(R.string.check_total_type_line), R.id.total_line, Ask.TOTAL)
        addView(
            context.key(word(R.string.check_discard), id = R.id.discard, act = ::discard),
            LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = context.px(R.dimen.touch_gap) },
        )
    }

    private fun discard() {
        AlertDialog.Builder(context).setMessage(R.string.check_discard_sure)
            .setPositiveButton(R.string.check_discard) { _, _ ->
                val gone = shots + WearShots.all(draft)
                frame.trail.forget(at)
                frame.desk.away(work = { gone.forEach { Shots.file(context, it).delete() } }, then = {})
                frame.leave()
            }
            .setNegativeButton(R.string.check_keep, null)
            .show()
    }

    private fun answered(change: () -> Unit) {
        change()
        draft.put("ask", null)
        refresh()
    }

    private fun showQuestion() = foot.run {
        removeAllViews()
        when (ask) {
            Ask.PHOTO -> photoKeys()
            Ask.EYE -> {
                question(R.string.check_ask_level)
                grid(LevelCode.entries.map { level -> choice(Vocabulary.level(context, level), Levels.id(level), level == byEye) { draft.put("by_eye", level.name) } })
            }
            Ask.LIQUID -> {
                question(R.string.check_ask_liquid)
                grid(Liquid.entries.map { kind -> choice(Vocabulary.liquid(context, kind).capital(), Levels.id(kind), kind == liquid) { draft.put("liquid", kind.name) } })
            }
            Ask.REST -> restKeys()
            Ask.TOTAL -> typed("total", R.string.check_total_type, R.id.total, Quantity.CONCRETE)
            Ask.SETTLED -> typed("settled", R.string.check_settled, R.id.settled, Quantity.MATERIAL)
        }
    }

    private fun LinearLayout.question(text: Int) = addView(context.words(word(text), bold = true))

    private fun LinearLayout.below(view: View, gap: Int = context.resources.getDimensionPixelSize(R.dimen.touch_gap)) {
        addView(view, LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = if (childCount == 0) 0 else gap })
    }

    private fun LinearLayout.grid(keys: List<View>) = keys.chunked(2).forEachIndexed { row, pair ->
        below(context.keyRow(*pair.toTypedArray()), if (row == 0) context.dp(8) else context.resources.getDimensionPixelSize(R.dimen.touch_gap))
    }

    private fun choice(text: String, id: Int, yes: Boolean, set: () -> Unit) =
        context.key(text, id = id) { answered(set) }.apply { chosen(yes) }

    private fun LinearLayout.photoKeys() {
        val again = eye.refusal != null
        below(context.key(word(if (again) R.string.check_again else R.string.check_photograph), main = true, id = R.id.photograph) { photograph() })
        val others = mutableListOf<View>(
            context.key(word(R.string.check_pick), id = R.id.pick) { pick() },
            context.key(word(R.string.check_by_eye), id = R.id.by_eye) { draft.put("ask", Ask.EYE.name); refresh() },
        )
        below(context.keyRow(*others.toTypedArray()))
        // Without a card a ruler in the picture gives the scale.
        if (again && eye.picture != null) below(context.key(word(R.string.check_ruler), id = R.id.ruler) { frame.go(Place("ruler", pump)) })
        if (shots.isNotEmpty() && !again) below(context.key(word(R.string.check_done), id = R.id.done) { answered {} })
    }

    private fun LinearLayout.restKeys() {
        val last = summary?.pumpM3
        if (last != null) {
            val now = figures.parseOrNull(Quantity.CONCRETE, draft.textOrNull("total")) ?: last
            val figure = context.words("", R.dimen.title, bold = true)
            fun show(total: Double) {
                val more = figures.show(Quantity.CONCRETE, total - last)
                figure.text = if (total == last) word(R.string.check_total_same, figures.show(Quantity.CONCRETE, total))
                else word(R.string.check_total_more, figures.show(Quantity.CONCRETE, total), more)
            }
            show(now)
            addView(figure)
            val tape = TapeView(context, Tape(figures, last), now) { total ->
                draft.put("total", figures.typed(Quantity.CONCRETE, total))
                show(total)
            }
            below(tape.apply { id = R.id.tape }, context.dp(4))
        }
        val low = draft.flagOrNull("low") == true
        below(
            context.keyRow(
                context.key(word(R.string.check_low), id = R.id.low) { answered { draft.put("low", !low) } }.apply { chosen(low) },
                context.key(word(R.string.check_grades), id = R.id.grades_key) { frame.go(Place("grade", "check:$pump")) },
            ),
        )
        below(context.key(word(if (saving) R.string.check_saving else R.string.check_save), main = true, id = R.id.save, act = ::save))
    }

    private fun LinearLayout.typed(key: String, label: Int, id: Int, quantity: Quantity) {
        below(Field(context, word(label, figures.unit(quantity)), id, true, draft.text(key)) { draft.put(key, it) }.root)
        below(context.key(word(R.string.check_ok), main = true, id = R.id.done) {
            val text = draft.text(key)
            // What is no figure, or one that no box has, the book says itself.
            val refused = text.takeIf { it.isNotBlank() }?.let { runCatching { figures.parse(quantity, it) }.exceptionOrNull() }
            if (refused != null) page.tell(Trouble.of(refused)) else answered { page.sayNothing() }
        })
    }

    private fun photograph() {
        val name = Shots.newName()
        draft.put("pending", name)
        Shots.askCamera(frame.activity, name)?.let { page.say(word(it), word(R.string.check_no_camera_advice)) }
    }

    private fun pick() {
        draft.put("pending", Shots.newName())
        Shots.askPicker(frame.activity)?.let { page.say(word(it), word(R.string.check_no_camera_advice)) }
    }

    override fun result(request: Int, code: Int, data: Intent?) {
        val name = draft.textOrNull("pending") ?: return
        draft.put("pending", null)
        if (code != android.app.Activity.RESULT_OK) {
            away(work = { Shots.file(context, name).delete() }) {}
            return
        }
        val from = data?.data
        away(Desk.Lane.EYE, failed = ::notTaken, work = { Shots.arrived(context, request, from, name) }) { there ->
            if (there) taken(name) else notTaken(null)
        }
    }

    private fun notTaken(why: Throwable?) {
        val trouble = why?.let { Trouble.of(it) }
        if (trouble?.code == "storage_full") page.tell(trouble) else page.say(word(R.string.check_not_taken), word(R.string.check_not_taken_advice))
    }

    private fun taken(name: String) {
        // A photo taken again takes the place of the one that could not be read.
        val refused = eye.refusal?.let { eye.name }
        val kept = shots - setOfNotNull(refused)
        val reads = eye.facts == null || draft.textOrNull("read") == null
        draft.edit {
            put("shots", org.json.JSONArray(kept + name))
            put("ask", org.json.JSONObject.NULL)
            if (reads) put("read", name)
        }
        refused?.let { old -> away(work = { Shots.file(context, old).delete() }) {} }
        page.sayNothing()
        look()
    }

    private fun save() {
        if (saving) return
        saving = true
        if (eye.busy) refresh() else finish()
    }

    private fun finish() {
        val total = figures.parseOrNull(Quantity.CONCRETE, draft.textOrNull("total")) ?: summary?.pumpM3
        val made = BoxCheckDraft(
            pumpId = pump,
            pumpM3 = total,
            photoPaths = shots.map { Shots.file(context, it).path },
            levelByEye = byEye,
            grades = Grades.of(context, draft),
            liquid = liquid,
            liquidLow = draft.flagOrNull("low"),
            work = draft.textOrNull("work"),
            settledMl = figures.parseOrNull(Quantity.MATERIAL, draft.textOrNull("settled")),
        )
        val reading = eye.reading
        val failed = { error: Throwable ->
            saving = false
            page.tell(Trouble.of(error))
            refresh()
            dropGone { gone -> if (gone) look() }
        }
        ask(failed = failed, work = { it.saveBoxCheck(made, reading, Clock.now()) }) { saved ->
            val done = shots + WearShots.all(draft)
            frame.trail.forget(at)
            val told = frame.trail.draft(Place("pump", pump))
            told.putList("remarks", saved.remarks.map { it.text })
            frame.desk.away(work = { done.forEach { Shots.file(context, it).delete() } }, then = {})
            Sending.soon(context)
            frame.instead(Place("pump", pump))
        }
    }
}

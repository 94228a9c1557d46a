package gritbook.shell.screens.changeout

import android.content.Intent
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.ChangeOutEnd
import gritbook.core.ChangeOutState
import gritbook.core.ChangeOutStep
import gritbook.core.Cup
import gritbook.core.Part
import gritbook.core.Quantity
import gritbook.core.RemovalReason
import gritbook.core.changeOutState
import gritbook.core.markStep
import gritbook.core.takeBackStep
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
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.SketchView
import gritbook.shell.look.sketch.lockSketch

/**
 * A change-out, one step on the screen. Which steps, which cautions and what may follow what is the book's; the document of the work
 * is kept after every touch, so that it goes on where it stood whatever becomes of the process.
 */
class ChangeOutScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val pump = at.about
    private lateinit var body: LinearLayout
    private lateinit var foot: LinearLayout
    private var state: ChangeOutState? = null
    private var busy = false

    override fun build() = Page(context, word(R.string.change_title), frame.prefs.now.leftHand, frame::leave).apply {
        body = put(column())
        foot = foot()
    }

    private fun column() = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }

    override fun arrived() {
        val document = draft.textOrNull("document") ?: return askCups()
        step { changeOutState(document) }
    }


    private fun <V : View> LinearLayout.put(view: V, gap: Int = context.dp(12)): V =
        view.also { addView(it, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = if (childCount == 0) 0 else gap }) }

    private fun LinearLayout.below(view: View) = put(view, context.px(R.dimen.touch_gap))

    private fun clear(title: CharSequence) {
        page.title(title)
        mustRead = null
        page.scroll.setOnScrollChangeListener(null)
        reading?.let(page.scroll::removeOnLayoutChangeListener)
        body.removeAllViews()
        foot.removeAllViews()
    }

    private fun askCups() {
        clear(word(R.string.change_title))
        body.put(context.words(word(R.string.change_which), bold = true))
        body.put(context.words(word(R.string.change_ahead)))
        body.put(SketchView(context, lockSketch(), ofHeight = 4))
        fun begin(vararg cups: Cup) = ask(work = { it.beginChangeOut(pump, cups.toList(), Clock.now()) }, then = ::took)
        foot.below(
            context.keyRow(
                context.key(word(R.string.change_cup, "A"), id = R.id.cup_a) { begin(Cup.A) },
                context.key(word(R.string.change_cup, "B"), id = R.id.cup_b) { begin(Cup.B) },
            ),
        )
        foot.below(context.key(word(R.string.change_both), main = true, id = R.id.cups_both) { begin(Cup.A, Cup.B) })
    }

    /** Takes a step of the work away from the main thread; one at a time. */
    private fun step(work: () -> ChangeOutState) {
        if (busy) return
        busy = true
        away(failed = { busy = false; page.tell(Trouble.of(it)) }, work = work) {
            busy = false
            took(it)
        }
    }

    private fun took(next: ChangeOutState) {
        val moved = state?.marked != next.marked
        state = next
        draft.edit {
            put("document", next.documentJson)
            if (moved && has("shown") && optInt("shown") != next.marked.toInt()) {
                remove("photos")
                remove("why")
                remove("skipping")
            }
            put("shown", next.marked.toInt())
        }
        page.sayNothing()
        show()
    }

    private fun show() {
        val work = state ?: return
        val at = work.marked.toInt()
        page.scroll.scrollTo(0, 0)
        if (at >= work.steps.size) return showEnd(work)
        val step = work.steps[at]
        clear(context.say(step.title))
        body.put(context.note(word(R.string.change_step, at + 1, work.steps.size) + step.cup?.let { " · " + word(R.string.change_cup, it.name) }.orEmpty()).apply { id = R.id.step })
        step.caution?.let { body.put(Cautions.view(context, it.signal, context.say(it.text))) }
        val told = body.put(context.words(context.say(step.text)))
        mustRead = if (step.hold || step.caution != null) told else null
        if (at == 0) body.put(context.note(context.say(work.first)))
        val photos = draft.list("photos")
        if (photos.isNotEmpty()) body.put(context.words(context.resources.getQuantityString(R.plurals.check_photos, photos.size, photos.size)))
        if (step.sources.isNotEmpty()) body.put(context.note(word(R.string.change_sources, step.sources.joinToString("; ") { if (it == PRACTICE) word(R.string.change_practice) else it })))
        if (draft.json.optBoolean("skipping")) skipFoot(work, step) else stepFoot(work, step, photos)
    }

    private fun stepFoot(work: ChangeOutState, step: ChangeOutStep, photos: List<String>) {
        val keys = mutableListOf<View>()
        if (work.marked > 0u) keys += context.key(word(R.string.change_back), id = R.id.take_back) { step { takeBackStep(work.documentJson) } }
        keys += context.key(word(R.string.change_skip), id = R.id.skip) { draft.put("skipping", true); show() }
        // One row with the others: what is read needs the room.
        if (step.photo) keys += context.key(word(R.string.photo_plain), id = R.id.photograph) { photograph() }
        foot.below(context.keyRow(*keys.toTypedArray()))
        val mark = context.key("", main = true) {
            if (readThrough()) step { markStep(work.documentJson, step.key, null, photos, Clock.now()) } else page.scroll.run { scrollBy(0, height * 4 / 5) }
        }
        foot.below(mark)
        fun say() {
            val read = readThrough()
            val words = word(if (!read) R.string.change_read_on else if (step.hold) R.string.change_held else R.string.change_done)
            mark.id = if (read) R.id.done else R.id.read_on
            if (mark.text.toString() != words) mark.text = words
        }
        say()
        page.scroll.setOnScrollChangeListener { _, _, _, _, _ -> say() }
        // A layout pass must not ask for another one from within.
        reading = View.OnLayoutChangeListener { _, _, _, _, _, _, _, _, _ -> page.scroll.post { if (alive && mark.isAttachedToWindow) say() } }.also(page.scroll::addOnLayoutChangeListener)
    }

    /** What must have been seen to its end before the step can be marked: a caution's step may reach below a small screen. */
    private var mustRead: View? = null
    private var reading: View.OnLayoutChangeListener? = null

    private fun readThrough(): Boolean {
        val told = mustRead ?: return true
        val scroll = page.scroll
        // Not laid out yet: nothing can be touched either.
        if (told.height == 0 || scroll.height == 0) return true
        val place = android.graphics.Rect(0, 0, told.width, told.height)
        scroll.offsetDescendantRectToMyCoords(told, place)
        // Seen once is seen: scrolling back up takes nothing away.
        return (place.bottom - scroll.scrollY <= scroll.height).also { if (it) mustRead = null }
    }

    private fun skipFoot(work: ChangeOutState, step: ChangeOutStep) {
        foot.below(Field(context, word(R.string.change_why), R.id.reason, false, draft.text("why")) { draft.put("why", it) }.root)
        foot.below(
            context.keyRow(
                context.key(word(R.string.back), id = R.id.again) { draft.put("skipping", false); show() },
                context.key(word(R.string.change_skip), main = true, id = R.id.skip) {
                    val why = draft.text("why")
                    // Whether the reason is one the book says: a skipped step without it is refused there.
                    step { markStep(work.documentJson, step.key, why, draft.list("photos"), Clock.now()) }
                },
            ),
        )
    }

    private fun showEnd(work: ChangeOutState) {
        clear(word(R.string.change_end))
        val skipped = work.skipped.count { it != null }
        body.put(context.words(word(R.string.change_summary, work.steps.size - skipped, skipped)))
        body.put(Field(context, word(R.string.check_total_type, figures.unit(Quantity.CONCRETE)), R.id.total, true, draft.text("total")) { draft.put("total", it) }.root)
        work.cups.forEach { cup ->
            body.put(context.words(word(R.string.change_reason_of, cup.name), bold = true))
            val keys = Reasons.all.map { (reason, name) ->
                context.key(word(name)) { draft.put("reason.${cup.name}", reason.name); show() }
                    .apply { tag = "${cup.name}.${reason.name}"; chosen(reason == reason(cup)) }
            }
            keys.chunked(2).forEach { pair -> body.put(context.keyRow(*pair.toTypedArray()), context.px(R.dimen.touch_gap)) }
        }
        body.put(Field(context, word(R.string.change_parts), R.id.parts_used, false, draft.text("parts")) { draft.put("parts", it) }.root)
        foot.below(context.key(word(R.string.change_back), id = R.id.take_back) { step { takeBackStep(work.documentJson) } })
        foot.below(context.key(word(R.string.change_sign), main = true, id = R.id.save) { finish(work) })
    }

    private fun reason(cup: Cup): RemovalReason? = draft.choice<RemovalReason>("reason.${cup.name}")

    private fun finish(work: ChangeOutState) {
        val missing = work.cups.find { reason(it) == null }
        if (missing != null) return page.say(word(R.string.change_reason_of, missing.name))
        val total = try {
            draft.text("total").takeIf { it.isNotBlank() }?.let { figures.parse(Quantity.CONCRETE, it) }
        } catch (refused: gritbook.core.FieldBookException) {
            return page.tell(Trouble.of(refused))
        }
        if (busy) return
        busy = true
        val end = ChangeOutEnd(total, work.cups.map { reason(it)!! }, draft.text("parts"), "")
        ask(failed = { busy = false; page.tell(Trouble.of(it)) }, work = { it.finishChangeOut(work.documentJson, end, Clock.now()) }) {
            frame.trail.forget(at)
            Sending.soon(context)
            frame.leave()
        }
    }

    private fun photograph() {
        val name = Shots.newName()
        draft.put("pending", name)
        Shots.askCamera(frame.activity, name)?.let { page.say(word(it), word(R.string.change_no_camera_advice)) }
    }

    override fun result(request: Int, code: Int, data: Intent?) {
        val name = draft.textOrNull("pending") ?: return
        draft.put("pending", null)
        if (code != android.app.Activity.RESULT_OK) return
        ask(Desk.Lane.EYE, work = { book ->
            val file = Shots.file(context, name)
            Shots.arrived(context, request, null, name)
            book.keepPhoto(file.path, Clock.now()).also { file.delete() }
        }) { id ->
            draft.putList("photos", draft.list("photos") + id)
            show()
        }
    }

    private companion object {
        /** How the book marks a step of which no source is published. */
        const val PRACTICE = "common practice, no published source"
    }
}

package gritbook.shell.screens.why

import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.Cause
import gritbook.core.Diagnosis
import gritbook.core.Part
import gritbook.core.SealVariant
import gritbook.core.Suspect
import gritbook.core.WeighedSign
import gritbook.shell.R
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.PassingScreen
import gritbook.shell.frame.Place
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.Vocabulary
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.markHeading
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.spanish
import gritbook.shell.frame.words
import gritbook.shell.look.Kit
import gritbook.shell.look.Look
import gritbook.shell.look.ShareView
import gritbook.shell.look.SketchView
import gritbook.shell.look.SlipDrawable
import gritbook.shell.look.sketch.placeSketch
import gritbook.shell.screens.grade.PartList
import gritbook.shell.screens.measure.BoreScreen

/**
 * What is behind what the box shows: the causes by their share, the likeliest laid open with its place, its signs and what to look at
 * next; the keys lead to where that look is recorded.
 */
class WhyScreen(at: Place, frame: Frame) : PassingScreen(at, frame) {
    private val pump = at.about
    private val kit = Kit(context)
    private lateinit var shown: LinearLayout
    private lateinit var foot: LinearLayout
    private var found: Diagnosis? = null
    private var seal = SealVariant.GUIDE_BAND

    override fun build() = Page(context, word(R.string.why_title), frame.prefs.now.leftHand, ::leave).apply {
        shown = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL; id = R.id.causes })
        foot = foot()
    }

    override fun arrived() = ask(failed = ::nothing, work = { it.diagnose(pump) to it.pumpSummary(pump).spec.seal }) { (told, of) ->
        found = told
        seal = of
        show(told)
    }

    /** Nothing was looked at yet: the book says so, and the look is one touch away. */
    private fun nothing(why: Throwable) {
        page.tell(Trouble.of(why))
        foot.removeAllViews()
        foot.addView(check(main = true))
    }

    /** The cause that lies open: the likeliest, or the one that was touched. */
    private fun open(told: Diagnosis): Suspect = draft.choice<Cause>("open").let { chosen -> told.causes.find { it.cause == chosen } } ?: told.causes.first()

    private fun show(told: Diagnosis): Unit = shown.run {
        removeAllViews()
        val first = told.causes.first()
        val open = open(told)
        page.title(context.say(first.text))
        if (told.unsure && open == first) put(context.words(word(R.string.why_unsure), bold = true).apply { id = R.id.unsure })
        laidOpen(open, told, named = open == first)
        told.causes.filter { it != open && it.share >= LEAST }.forEachIndexed { at, cause -> put(closed(cause), if (at == 0) R.dimen.margin else R.dimen.touch_gap) }
        val hardly = told.causes.filter { it != open && it.share < LEAST }
        if (hardly.isNotEmpty()) put(context.note(word(R.string.why_hardly, hardly.joinToString(" ") { context.say(it.text) })))
        put(context.heading(word(R.string.why_cannot)), R.dimen.margin)
        put(kit.reasons(told.cannotTell.map(context::say)).apply { id = R.id.cannot_tell })
        put(context.note(word(R.string.why_source, source(open))))
        showFoot(open)
    }

    /** [named]: the head of the page says it already. */
    private fun LinearLayout.laidOpen(cause: Suspect, told: Diagnosis, named: Boolean) {
        if (!named) put(context.heading(context.say(cause.text)))
        put(SketchView(context, placeSketch(cause.cause)))
        put(shares(cause, R.dimen.title).apply { id = R.id.share })
        signs(R.string.why_for, cause.signsFor)
        signs(R.string.why_against, cause.signsAgainst)
        put(small(R.string.why_look), R.dimen.margin)
        put(context.words(context.say(if (cause == told.causes.first()) told.lookNext else cause.lookNext)).apply { id = R.id.look_next })
    }

    private fun LinearLayout.signs(title: Int, signs: List<WeighedSign>) {
        if (signs.isEmpty()) return
        put(small(title), R.dimen.margin)
        put(kit.reasons(signs.map { if (context.spanish()) it.textEs else it.text }))
    }

    private fun small(title: Int) = context.words(word(title), bold = true).also(::markHeading)

    /** The share as a picture with its figure. */
    private fun shares(cause: Suspect, size: Int = R.dimen.text): LinearLayout {
        val (picture, figure) = ShareView(context).show(cause.share) to context.words(figure(cause), size, bold = true)
        if (context.resources.configuration.fontScale < Page.LARGE) return kit.row(picture, figure, gapSteps = 2)
        return LinearLayout(context).apply {
            orientation = LinearLayout.VERTICAL
            addView(picture, WRAP_CONTENT, WRAP_CONTENT)
            addView(figure, MATCH_PARENT, WRAP_CONTENT)
        }
    }

    private fun figure(cause: Suspect): String =
        if (cause.share < 0.01) word(R.string.why_under) else word(R.string.why_share, figures.number(cause.share * 100, 0))

    /** A cause of which only the share is seen; touched it is laid open. */
    private fun closed(cause: Suspect): View = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        background = SlipDrawable(Look(context), SlipDrawable.Kind.QUIET)
        minimumHeight = context.px(R.dimen.touch)
        gravity = android.view.Gravity.CENTER_VERTICAL
        setPadding(context.dp(12), context.dp(8), context.dp(16), context.dp(8))
        isFocusable = true
        tag = cause.cause.name
        contentDescription = word(R.string.why_show, context.say(cause.text), figure(cause))
        addView(context.words(context.say(cause.text)), MATCH_PARENT, WRAP_CONTENT)
        addView(shares(cause), LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(4) })
        setOnClickListener {
            draft.put("open", cause.cause.name)
            found?.let { show(it) }
            page.scroll.scrollTo(0, 0)
        }
    }

    /** Where it is written; what is written there the page has said in its own language. */
    private fun source(cause: Suspect): String = when (cause.source) {
        PRACTICE -> word(R.string.change_practice)
        MEMORY -> word(R.string.why_memory)
        else -> cause.source.substringBefore(": ")
    }

    private fun showFoot(open: Suspect) {
        foot.removeAllViews()
        val parts = Causes.parts(open.cause, seal)
        val bore = Causes.asksBore(open.cause)
        val keys = parts.mapIndexed { at, part -> grade(part, main = at == 0 && !bore) } + listOf(check(main = parts.isEmpty() && !bore)) + if (bore) listOf(measure()) else emptyList()
        val (main, others) = keys.partition { it.getTag(R.id.main_key) == true }
        if (others.isNotEmpty()) foot.addView(context.keyRow(*others.toTypedArray()), LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        main.forEach { foot.addView(it, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT)) }
    }

    private fun check(main: Boolean) = context.key(word(R.string.pump_check), main = main, id = R.id.check) { frame.go(Place("check", pump)) }

    private fun measure() = context.key(word(R.string.measure_bore), main = true, id = R.id.measure) { frame.go(Place(BoreScreen.SCREEN, pump)) }

    /** To the thumb, at the first side of that part; what was graded there and not saved yet stays. */
    private fun grade(part: Part, main: Boolean) = context.key(word(R.string.why_grade, Vocabulary.part(context, part)), main = main) {
        val place = Place("grade", "alone:$pump")
        frame.trail.draft(place).put("part", Causes.index(PartList.of(Vocabulary.parts, seal), part))
        frame.go(place)
    }.apply { tag = part.name }

    private fun LinearLayout.put(view: View, gap: Int = R.dimen.step) = addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply {
        topMargin = if (childCount == 0) 0 else context.px(gap) + context.dp(4)
    })

    private companion object {
        /** Causes below this share are named in one line. */
        const val LEAST = 0.02

        /** What the book says where nothing is printed, in its own English. */
        const val PRACTICE = "common practice, no published source"
        const val MEMORY = "from memory, not seen in print"
    }
}

package gritbook.shell.screens.call

import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.CallAnswer
import gritbook.core.CallCode
import gritbook.core.CallHint
import gritbook.core.CallQuestion
import gritbook.core.Quantity
import gritbook.core.assumedCosts
import gritbook.shell.R
import gritbook.shell.carry.Sending
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.asked
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.spanish
import gritbook.shell.frame.words
import gritbook.shell.look.CallChanceView
import gritbook.shell.look.Kit
import gritbook.shell.screens.check.Tape
import gritbook.shell.screens.check.TapeView

/** Can this pump do the next pour? The answer, its reasons, what would change it, and another decision where the mechanic has one. */
class CallScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val pump = at.about
    private lateinit var shown: LinearLayout
    private lateinit var foot: LinearLayout
    private var answer: CallAnswer? = null
    private var asking = false
    private var askAgain = false
    private var saving = false

    /** The coming pour: as set here, or as this shop's pours usually are. */
    private val pourM3: Double
        get() = draft.json.optDouble("pour_m3").takeIf { it.isFinite() } ?: frame.prefs.now.usualPourM3 ?: figures.one(Quantity.CONCRETE) * FIRST_POUR

    private val overrule get() = draft.choice<CallCode>("overrule")

    override fun build() = Page(context, word(R.string.call_title), frame.prefs.now.leftHand, frame::leave).apply {
        shown = put(column())
        foot = foot()
    }

    private fun column() = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }

    override fun arrived() {
        showFoot()
        judge()
    }

    /** One question at a time is with the book; a newer one waits for its answer. */
    private fun judge() {
        if (asking) {
            askAgain = true
            return
        }
        asking = true
        val question = CallQuestion(pourM3, null, null, null)
        val costs = frame.prefs.now.costs
        ask(failed = { asking = false; page.tell(Trouble.of(it)) }, work = { it.call(pump, question, costs ?: assumedCosts(), Clock.now()) }) {
            asking = false
            answer = it
            show(it)
            if (askAgain) {
                askAgain = false
                judge()
            }
        }
    }

    private fun show(call: CallAnswer) = shown.run {
        removeAllViews()
        page.title(context.say(call.sentence), answer = true)
        if (call.hardStop) put(context.words(word(R.string.call_hard_stop), bold = true))
        val (lookFirst, wouldChange) = call.wouldChange.partition { it.code == "look_first" }
        lookFirst.forEach { put(context.asked(context.words(it.said(), bold = true), context.key(word(R.string.pump_check), id = R.id.check) { frame.go(Place("check", pump)) })) }
        val chance = context.words(word(R.string.call_chance, percent(call.chanceOfFailure))).apply { id = R.id.chance }
        put(context.asked(chance, context.key(word(R.string.pump_why), id = R.id.why) { frame.go(Place("why", pump)) }))
        call.cups.forEach { cup ->
            val lasts = cup.chanceLastsPour
            put(context.words(word(R.string.call_cup, cup.cup.name, percent(lasts.value), percent(lasts.low), percent(lasts.high))))
            put(CallChanceView(context).show(lasts.value, lasts.low, lasts.high))
            cup.changeByM3?.let { put(context.note(word(R.string.call_change_by, figures.show(Quantity.CONCRETE, it)))) }
        }
        call.reasons.forEach { put(reason(if (context.spanish()) it.textEs else it.text)) }
        call.bestChangeAgeM3?.let { put(context.note(word(R.string.call_best_age, figures.show(Quantity.CONCRETE, it)))) }
        if (wouldChange.isNotEmpty()) put(context.heading(word(R.string.call_would_change)))
        wouldChange.forEach { put(reason(it.said())) }
        put(context.key(word(R.string.track_title), id = R.id.track) { frame.go(Place("track")) })
    }

    private fun CallHint.said() = if (context.spanish()) textEs else text

    private fun reason(text: String) = Kit(context).reasons(listOf(text))

    private fun percent(share: Double) = figures.number(share * 100, if (share < 0.1) 1 else 0)

    private fun LinearLayout.put(view: View) = addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(8) })

    private fun below(view: View) = foot.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply {
        topMargin = if (foot.childCount == 0) 0 else context.px(R.dimen.touch_gap)
    })

    private fun showFoot() {
        foot.removeAllViews()
        if (draft.json.optBoolean("overruling")) return overruleFoot()
        val pour = context.words(word(R.string.call_pour, figures.show(Quantity.CONCRETE, pourM3)), bold = true)
        foot.addView(pour)
        foot.addView(TapeView(context, Tape(figures, 0.0), pourM3) {
            draft.put("pour_m3", it)
            pour.text = word(R.string.call_pour, figures.show(Quantity.CONCRETE, it))
            judge()
        }.apply { id = R.id.tape })
        below(
            context.keyRow(
                context.key(word(R.string.call_overrule), id = R.id.overrule) { draft.put("overruling", true); showFoot() },
                context.key(word(R.string.call_record), main = true, id = R.id.save) { record(null, null) },
            ),
        )
    }

    private fun overruleFoot() {
        foot.addView(context.words(word(R.string.call_overrule_to), bold = true))
        val codes = listOf(CallCode.POUR to R.string.call_code_pour, CallCode.POUR_AND_WATCH to R.string.call_code_watch, CallCode.CHANGE_FIRST to R.string.call_code_change)
        val keys = codes.map { (code, name) ->
            context.key(word(name)) { draft.put("overrule", code.name); showFoot() }.apply { tag = code.name; chosen(code == overrule) }
        }
        below(context.keyRow(*keys.toTypedArray()))
        below(Field(context, word(R.string.call_reason), R.id.reason, false, draft.text("reason")) { draft.put("reason", it) }.root)
        below(
            context.keyRow(
                context.key(word(R.string.back), id = R.id.done) { draft.put("overruling", false); showFoot() },
                context.key(word(R.string.call_record), main = true, id = R.id.save, act = ::recordOverruled),
            ),
        )
    }

    private fun recordOverruled() {
        val to = overrule ?: return page.say(word(R.string.call_overrule_to))
        val why = draft.text("reason").trim()
        if (why.isEmpty()) return page.say(word(R.string.call_needs_reason))
        record(to, why)
    }

    private fun record(to: CallCode?, why: String?) {
        val made = answer ?: return
        if (saving) return
        saving = true
        val pour = pourM3
        ask(failed = { saving = false; page.tell(Trouble.of(it)) }, work = { it.recordCall(pump, made.documentJson, to, why, Clock.now()) }) {
            frame.prefs.edit { put("usual_pour_m3", pour) }
            frame.trail.forget(at)
            Sending.soon(context)
            frame.leave()
        }
    }

    override fun back(): Boolean = draft.json.optBoolean("overruling").also {
        if (it) {
            draft.put("overruling", false)
            showFoot()
        }
    }

    private companion object {
        /** Where the tape stands until a pour was ever asked about, in the shop's unit: a place to pull from, no advice. */
        const val FIRST_POUR = 60
    }
}

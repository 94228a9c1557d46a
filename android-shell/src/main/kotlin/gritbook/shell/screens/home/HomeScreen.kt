package gritbook.shell.screens.home

import android.view.Gravity
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import android.widget.TextView
import gritbook.core.CallQuestion
import gritbook.core.PumpSummary
import gritbook.core.Quantity
import gritbook.core.QueueState
import gritbook.core.assumedCosts
import gritbook.shell.R
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.boxed
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.px
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.GritRingView
import gritbook.shell.screens.pump.PumpLines

/** The pumps of this phone; a box check is one touch away. */
class HomeScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private lateinit var list: LinearLayout
    private lateinit var outbox: android.widget.Button

    override fun build() = Page(context, word(R.string.home_title), frame.prefs.now.leftHand, back = null).apply {
        list = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL; id = R.id.pumps })
        outbox = context.key(word(R.string.home_outbox), id = R.id.outbox) { frame.go(Place("outbox")) }
        foot(
            context.keyRow(
                context.key(word(R.string.home_add_pump), id = R.id.add_pump) { frame.go(Place("add_pump")) },
                outbox,
                context.key(word(R.string.home_settings), id = R.id.settings) { frame.go(Place("settings")) },
            ),
        )
    }

    override fun arrived() {
        ask(work = { it.pumps() }) { pumps ->
            list.removeAllViews()
            if (pumps.isEmpty()) {
                list.addView(context.heading(word(R.string.home_empty)))
                list.addView(context.words(word(R.string.home_empty_advice)))
            }
            val looks = pumps.associate { it.id to context.words(word(R.string.looks_home), bold = true).apply { visibility = View.GONE } }
            pumps.forEach { pump ->
                list.addView(row(pump, looks.getValue(pump.id), due(pump)), LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { bottomMargin = context.px(R.dimen.touch_gap) })
            }
            if (pumps.isNotEmpty()) list.addView(context.key(word(R.string.track_title), id = R.id.track) { frame.go(Place("track")) }, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
            // What new cups ask for, once the whole record was read for it; it is not on the way of anything else.
            ask(Desk.Lane.EYE, failed = {}, work = { it.breakIns() }) { all ->
                all.filter { of -> of.breakIn.looks.any { it.due } }.forEach { looks[it.pumpId]?.visibility = View.VISIBLE }
            }
        }
        ask(work = { it.outbox() }) { items ->
            val waiting = items.count { it.state == QueueState.WAITING }
            val parked = items.count { it.state == QueueState.PARKED }
            outbox.text = when {
                parked > 0 -> word(R.string.home_outbox_parked, waiting, parked)
                waiting > 0 -> word(R.string.home_outbox_waiting, waiting)
                else -> word(R.string.home_outbox)
            }
        }
        frame.desk.opened?.damagedMovedTo?.let { page.say(word(R.string.home_damaged), it) }
    }

    /** A line for when the next change is due, filled once the book has judged it; it is not on the way of anything else. */
    private fun due(pump: PumpSummary): TextView {
        val line = context.note("").apply { visibility = View.GONE }
        val costs = frame.prefs.now.costs
        val question = CallQuestion(frame.prefs.now.usualPourM3 ?: 0.0, null, null, null)
        ask(Desk.Lane.EYE, failed = {}, work = { it.call(pump.id, question, costs ?: assumedCosts(), Clock.now()) }) { call ->
            val within = call.cups.mapNotNull { it.changeByM3 }.minOrNull()
            line.text = when {
                call.hardStop -> context.say(call.sentence)
                within != null -> word(R.string.home_due, figures.show(Quantity.CONCRETE, within))
                else -> return@ask
            }
            line.visibility = View.VISIBLE
        }
        return line
    }

    private fun row(pump: PumpSummary, look: TextView, due: TextView): View {
        val check = Place("check", pump.id)
        val about = LinearLayout(context).apply {
            orientation = LinearLayout.VERTICAL
            gravity = Gravity.CENTER_VERTICAL
            minimumHeight = context.px(R.dimen.touch)
            setPadding(0, context.dp(4), context.dp(8), context.dp(4))
            isFocusable = true
            background = context.boxed(R.color.paper)
            setOnClickListener { frame.go(Place("pump", pump.id)) }
            addView(LinearLayout(context).apply {
                gravity = Gravity.CENTER_VERTICAL
                pump.gravest?.let { grave ->
                    val measured = pump.grades.any { it.counts == grave && it.measured == grave }
                    val side = (context.resources.getDimension(R.dimen.title) * 1.6f).toInt()
                    addView(GritRingView(context).show(grave.toInt(), measured), LinearLayout.LayoutParams(side, side).apply { rightMargin = context.dp(8) })
                }
                addView(context.heading(pump.spec.name), LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f))
            })
            PumpLines.of(context, figures, pump).forEachIndexed { index, line ->
                addView(if (index == 0) context.words(line) else context.note(line))
                if (index == 0) addView(look)
                if (index == 0) addView(due)
            }
        }
        val begun = frame.trail.begun(check)
        val box = context.key(word(if (begun) R.string.home_go_on else R.string.home_check), main = true) { frame.go(check) }
        box.tag = pump.spec.name
        box.contentDescription = word(R.string.home_check_of, pump.spec.name)
        return LinearLayout(context).apply {
            isBaselineAligned = false
            if (context.resources.configuration.fontScale >= LARGE) {
                orientation = LinearLayout.VERTICAL
                addView(about, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
                addView(box, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
            } else {
                addView(about, LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f))
                addView(box, LinearLayout.LayoutParams(WRAP_CONTENT, MATCH_PARENT))
            }
        }
    }

    private companion object {
        /** From this type size on a key stands below what it is for. */
        const val LARGE = 1.3f
    }
}

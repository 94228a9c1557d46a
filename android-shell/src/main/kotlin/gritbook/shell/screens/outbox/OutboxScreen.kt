package gritbook.shell.screens.outbox

import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.widget.Button
import android.widget.LinearLayout
import gritbook.core.OutboxEvent
import gritbook.core.QueueState
import gritbook.core.QueuedItem
import gritbook.core.QueuedThing
import gritbook.core.RunEnd
import gritbook.core.RunReport
import gritbook.shell.R
import gritbook.shell.carry.OutboxRun
import gritbook.shell.carry.SendJob
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.PassingScreen
import gritbook.shell.frame.Place
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.Kit
import gritbook.shell.look.OutboxSlipView
import java.text.DateFormat
import java.util.Date

/** What waits to be sent, what is parked and why. */
class OutboxScreen(at: Place, frame: Frame) : PassingScreen(at, frame) {
    private lateinit var state: LinearLayout
    private lateinit var list: LinearLayout
    private lateinit var send: Button
    private var run: OutboxRun? = null

    /** The item that is about to be dropped; null for none. */
    private var sure: Long?
        get() = draft.textOrNull("sure")?.toLongOrNull()
        set(value) = draft.put("sure", value?.toString())

    override fun build() = Page(context, word(R.string.outbox_title), frame.prefs.now.leftHand, ::leave).apply {
        state = put(column())
        list = put(column().apply { id = R.id.queue })
        send = foot(context.key(word(R.string.outbox_send), main = true, id = R.id.send, act = ::sendOrStop))
    }

    private fun column() = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }

    override fun arrived() = refresh()

    override fun left() {
        // A run goes on without its screen: it only carries.
        run = null
    }

    private fun refresh() = ask(work = { it.outbox() to it.outboxPause() }) { (items, pause) ->
        state.removeAllViews()
        val settings = frame.prefs.now
        if (settings.depotUrl == null || settings.token == null) {
            state.addView(context.words(word(R.string.outbox_no_depot)))
            state.addView(context.key(word(R.string.outbox_enrol), id = R.id.enrol) { frame.go(Place("enrol")) })
        }
        pause?.let {
            val until = DateFormat.getTimeInstance(DateFormat.SHORT).format(Date(it.untilMs))
            state.addView(context.words(word(R.string.outbox_paused, until, context.say(Trouble(it.code, it.reason, "")).reason)))
        }
        show(items)
    }

    private fun show(items: List<QueuedItem>) {
        list.removeAllViews()
        val waiting = items.filter { it.state == QueueState.WAITING }
        val parked = items.filter { it.state == QueueState.PARKED }
        val dropped = items.filter { it.state == QueueState.DROPPED }
        val said = if (waiting.isEmpty()) word(R.string.outbox_all_sent)
        else context.resources.getQuantityString(R.plurals.outbox_waiting, waiting.size, waiting.size)
        val slip = OutboxSlipView(context).show(waiting.size, parked.size).apply { importantForAccessibility = View.IMPORTANT_FOR_ACCESSIBILITY_NO }
        put(Kit(context).row(slip, context.heading(said).apply { id = R.id.waiting }))
        if (parked.isNotEmpty()) list.addView(context.heading(context.resources.getQuantityString(R.plurals.outbox_parked, parked.size, parked.size)))
        parked.forEach { put(stuck(it, drop = true)) }
        if (dropped.isNotEmpty()) list.addView(context.heading(context.resources.getQuantityString(R.plurals.outbox_dropped, dropped.size, dropped.size)))
        dropped.forEach { put(stuck(it, drop = false)) }
    }

    private fun put(view: View) =
        list.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = context.dp(12) })

    private fun stuck(item: QueuedItem, drop: Boolean) = column().apply {
        addView(context.words(word(if (item.thing is QueuedThing.Photo) R.string.outbox_photo else R.string.outbox_entry), bold = true))
        item.trouble?.let { Trouble(it.code, it.reason, it.advice) }?.let(context::say)?.let {
            addView(context.words(it.reason))
            addView(context.note(it.advice))
        }
        val retry = context.key(word(R.string.outbox_retry)) { change { book -> book.retryItem(item.item) } }
        if (sure == item.item) {
            addView(context.words(word(R.string.outbox_drop_sure), bold = true))
            addView(
                context.keyRow(
                    context.key(word(R.string.outbox_drop)) { change { book -> book.dropItem(item.item) } },
                    context.key(word(R.string.outbox_keep)) { sure = null; refresh() },
                ),
            )
            return@apply
        }
        addView(if (drop) context.keyRow(retry, context.key(word(R.string.outbox_drop)) { confirm(item) }) else retry)
    }

    /** Asks on the page itself, with keys that a glove hits. */
    private fun confirm(item: QueuedItem) {
        sure = item.item
        refresh()
    }

    private fun change(what: (gritbook.core.FieldBook) -> Unit) = ask(work = what) {
        sure = null
        refresh()
    }

    private fun sendOrStop() {
        run?.let { return it.cancel() }
        page.sayNothing()
        val started = OutboxRun(frame.desk, frame.prefs, nowPlease = true)
        run = started
        send.text = word(R.string.outbox_stop)
        started.start(::heard) { result ->
            result.onSuccess { SendJob.again(context.applicationContext, it) }
            if (!alive) return@start
            run = null
            send.text = word(R.string.outbox_send)
            result.fold(::ended) { page.tell(Trouble.of(it)) }
            refresh()
        }
    }

    private fun heard(event: OutboxEvent) {
        if (!alive) return
        when (event) {
            is OutboxEvent.PhotoProgress -> {
                val percent = (event.sentBytes * 100uL / event.lengthBytes.coerceAtLeast(1uL)).toInt()
                send.text = word(R.string.outbox_progress, percent)
            }
            is OutboxEvent.EntrySent, is OutboxEvent.PhotoSent -> refresh()
            else -> Unit
        }
    }

    private fun ended(report: RunReport?) {
        val end = report?.ended
        when {
            report == null -> page.say(word(R.string.outbox_no_depot))
            end is RunEnd.Paused -> end.trouble?.let { page.tell(Trouble(it.code, it.reason, it.advice)) } ?: page.say(word(R.string.outbox_later))
            end is RunEnd.Cancelled -> page.say(word(R.string.outbox_stopped))
            else -> page.say(word(R.string.outbox_done, report.entriesSent.toInt(), report.photosSent.toInt()))
        }
    }
}

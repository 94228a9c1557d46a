package gritbook.shell.carry

import android.os.Handler
import android.os.Looper
import gritbook.core.OutboxEvent
import gritbook.core.OutboxListener
import gritbook.core.RunOptions
import gritbook.core.RunReport
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Prefs
import java.security.SecureRandom

/** One run of the outbox on the carrier's thread. Main thread only. */
class OutboxRun(private val desk: Desk, private val prefs: Prefs, private val nowPlease: Boolean) {
    @Volatile
    private var carrier: HttpCarrier? = null

    @Volatile
    private var cancelled = false

    /** The code that this run shows; another may be photographed while it is on its way. */
    @Volatile
    private var shown: String? = null

    /** [heard] on the main thread for every event; [then] with null where no depot is enrolled yet. */
    fun start(heard: (OutboxEvent) -> Unit = {}, then: (Result<RunReport?>) -> Unit) {
        val main = Handler(Looper.getMainLooper())
        val listener = object : OutboxListener {
            override fun heard(event: OutboxEvent) {
                main.post {
                    // A code that is not forgotten in time is shown again, which changes nothing.
                    when (event) {
                        is OutboxEvent.LetIn -> prefs.letIn(shown)
                        is OutboxEvent.TurnedAway -> prefs.turnedAway(shown)
                        else -> Unit
                    }
                    heard(event)
                }
            }
        }
        desk.ask(Desk.Lane.CARRIER, work = { book ->
            val settings = prefs.await()
            val (depot, token) = settings.depotUrl to settings.token
            if (depot == null || token == null) return@ask null
            shown = settings.code
            val made = HttpCarrier(depot, token, settings.depotKey)
            carrier = made
            if (cancelled) made.cancel()
            val options = RunOptions(seed = SecureRandom().nextLong().toULong(), pull = true, nowPlease = nowPlease, code = settings.code)
            book.runOutbox(made, listener, options, Clock.now())
        }, then = then)
    }

    fun cancel() {
        cancelled = true
        carrier?.cancel()
    }
}

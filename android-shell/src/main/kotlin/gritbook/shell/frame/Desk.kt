package gritbook.shell.frame

import android.content.Context
import android.os.Handler
import android.os.Looper
import gritbook.core.FieldBook
import gritbook.core.FieldBookException
import gritbook.core.OpenReport
import gritbook.core.ReadingException
import java.io.File
import java.util.concurrent.ExecutorService
import java.util.concurrent.Executors
import java.util.concurrent.atomic.AtomicInteger

/**
 * Owns the one [FieldBook] and the threads that may call it. Nothing else in the shell holds the book: a call from the main thread
 * cannot be written by mistake, because the book is only handed to work that already runs elsewhere.
 */
class Desk(context: Context, private val prefs: Prefs) {
    val bookFolder = File(context.filesDir, "book")
    private val main = Handler(Looper.getMainLooper())
    private val busy = AtomicInteger(0)

    /** Screens' questions and saves, in order. */
    private val clerk: ExecutorService = lane("clerk")

    /** Photos are read here, so that a save never waits behind one. */
    private val eye: ExecutorService = lane("eye")

    /** The outbox is carried here, so that nothing waits for the network. */
    private val carrier: ExecutorService = lane("carrier")

    @Volatile
    private var book: FieldBook? = null

    /** What opening found; main thread only. */
    var opened: OpenReport? = null
        private set

    enum class Lane { CLERK, EYE, CARRIER }

    private fun lane(name: String) = Executors.newSingleThreadExecutor { work -> Thread(work, "gritbook-$name") }

    private fun executor(lane: Lane) = when (lane) {
        Lane.CLERK -> clerk
        Lane.EYE -> eye
        Lane.CARRIER -> carrier
    }

    /** Runs [work] away from the main thread and hands what came of it to [then] on the main thread. */
    fun <T> away(lane: Lane = Lane.CLERK, work: () -> T, then: (Result<T>) -> Unit) {
        busy.incrementAndGet()
        executor(lane).execute {
            val result = runCatching { notOnMain(); work() }
            main.post {
                busy.decrementAndGet()
                then(result)
            }
        }
    }

    /** The same with the book; it is opened first where it is not open yet. */
    fun <T> ask(lane: Lane = Lane.CLERK, work: (FieldBook) -> T, then: (Result<T>) -> Unit) = away(lane, { work(open()) }, then)

    /** For a caller that already runs on a thread of its own (a job): the book, opened. */
    fun bookHere(): FieldBook {
        notOnMain()
        return open()
    }

    @Synchronized
    private fun open(): FieldBook = book ?: run {
        bookFolder.mkdirs()
        val settings = prefs.await()
        val made = FieldBook.open(bookFolder.path, settings.person, settings.deviceName, Clock.now())
        val report = made.opened()
        main.post { opened = report }
        book = made
        made
    }

    /** The person's name, from now on. */
    fun setPerson(name: String, then: (Result<Unit>) -> Unit) = ask(work = { it.setPerson(name) }, then = then)

    /** Nothing asked that has not been answered. Tests wait for it. */
    val idle get() = busy.get() == 0

    /** Ends the threads and closes the book. The system never calls this: what was saved is durable without it. */
    fun close() {
        listOf(clerk, eye, carrier).forEach { it.shutdown() }
        listOf(clerk, eye, carrier).forEach { it.awaitTermination(10, java.util.concurrent.TimeUnit.SECONDS) }
        synchronized(this) {
            book?.close()
            book = null
        }
    }

    companion object {
        fun notOnMain() = check(Looper.myLooper() != Looper.getMainLooper()) { "a call of the book on the main thread" }
    }
}

/** What a failure says to a person. */
data class Trouble(val code: String, val reason: String, val advice: String) {
    companion object {
        /** Android says ENOSPC and its words, a desktop its words alone. */
        private fun full(error: Throwable) = generateSequence(error) { it.cause }.any { "No space left" in it.message.orEmpty() || "ENOSPC" in it.message.orEmpty() }

        fun of(error: Throwable): Trouble = when (error) {
            is FieldBookException.Refused -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.NotFound -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.StorageFull -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.NewerSchema -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.Corrupt -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.Storage -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.Depot -> Trouble(error.code, error.reason, error.advice)
            is FieldBookException.Internal -> Trouble(error.code, error.reason, error.advice)
            is ReadingException.NotRead -> Trouble(error.code, error.reason, error.advice)
            // The same words as the book's own for a write of the shell.
            is java.io.IOException if full(error) -> Trouble("storage_full", "the phone's storage is full", "free some space and do it again; nothing was lost")
            else -> Trouble("fault", error.message ?: error.javaClass.simpleName, "")
        }
    }
}

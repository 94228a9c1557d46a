package gritbook.shell.frame

import android.app.Activity
import android.content.Intent
import android.view.View
import gritbook.core.FieldBook
import gritbook.shell.R

/** What a screen may ask of its surroundings. */
interface Frame {
    val activity: Activity
    val desk: Desk
    val prefs: Prefs
    val trail: Trail

    fun go(place: Place)

    /** This screen's place is taken by [place]. */
    fun instead(place: Place)

    fun leave()

    /** Back to the first screen. */
    fun home()

    /** The same screen again, built anew from its draft. */
    fun again()
}

/** One question to the person: a view, made from what its draft holds. Lives on the main thread. */
abstract class Screen(val at: Place, protected val frame: Frame) {
    protected val context get() = frame.activity
    val draft: Draft get() = frame.trail.draft(at)

    /** False once its view is gone: what still comes for it is dropped. */
    var alive = true
        private set

    protected lateinit var page: Page

    /** Its page, filled from the draft alone. */
    abstract fun build(): Page

    fun open(): View {
        page = build()
        arrived()
        return page.root
    }

    fun close() {
        alive = false
        left()
    }

    /** Its page stands: time to ask the book. */
    protected open fun arrived() {}

    /** Its page is gone. */
    protected open fun left() {}

    /** What an activity started for it came back with. */
    open fun result(request: Int, code: Int, data: Intent?) {}

    /** True where the screen used up the step back itself. */
    open fun back(): Boolean = false

    /** What is typed cannot be written to the disk now, or can again. */
    fun unkept(cannot: Boolean) {
        if (cannot) page.sayUnkept(word(R.string.frame_unkept), word(R.string.frame_unkept_advice)) else page.sayUnkept(null)
    }

    /** Asks the book; the answer comes only while this screen stands, a failure is told on its page. */
    protected fun <T> ask(
        lane: Desk.Lane = Desk.Lane.CLERK,
        failed: (Throwable) -> Unit = { page.tell(Trouble.of(it)) },
        work: (FieldBook) -> T,
        then: (T) -> Unit,
    ) = frame.desk.ask(lane, work) { result -> if (alive) result.fold(then, failed) }

    /** The same without the book. */
    protected fun <T> away(
        lane: Desk.Lane = Desk.Lane.CLERK,
        failed: (Throwable) -> Unit = { page.tell(Trouble.of(it)) },
        work: () -> T,
        then: (T) -> Unit,
    ) = frame.desk.away(lane, work) { result -> if (alive) result.fold(then, failed) }

    protected val figures get() = Figures.of(frame.prefs.now)

    protected fun word(id: Int, vararg with: Any): String = if (with.isEmpty()) context.getString(id) else context.getString(id, *with)
}

/** A screen whose draft is of no use once it is left. */
abstract class PassingScreen(at: Place, frame: Frame) : Screen(at, frame) {
    protected fun leave() {
        frame.trail.forget(at)
        frame.leave()
    }

    override fun back(): Boolean {
        leave()
        return true
    }
}

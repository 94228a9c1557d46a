package gritbook.shell

import android.app.Application
import android.content.pm.ApplicationInfo
import android.os.Handler
import android.os.Looper
import android.os.StrictMode
import gritbook.core.QueueState
import gritbook.shell.carry.Sending
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Pen
import gritbook.shell.frame.Place
import gritbook.shell.frame.Prefs
import gritbook.shell.frame.Trail
import gritbook.shell.frame.Vocabulary
import java.io.File

/** Owns what lives as long as the process: the book with its threads, the settings, the trail of screens. */
class App : Application() {
    lateinit var desk: Desk
        private set
    lateinit var prefs: Prefs
        private set
    lateinit var trail: Trail
        private set
    lateinit var pen: Pen
        private set

    /** True once what the last process left was read. Main thread only. */
    var restored = false
        private set
    private val awaiting = mutableListOf<() -> Unit>()

    override fun onCreate() {
        super.onCreate()
        if (applicationInfo.flags and ApplicationInfo.FLAG_DEBUGGABLE != 0) {
            val noDisk = StrictMode.ThreadPolicy.Builder().detectDiskReads().detectDiskWrites().detectNetwork().penaltyLog().build()
            StrictMode.setThreadPolicy(noDisk)
        }
        start()
    }

    /** What begins with a process. Tests call it again after they ended the first one. */
    fun start() {
        restored = false
        val main = Handler(Looper.getMainLooper())
        pen = Pen(File(filesDir, "drafts")) { failure -> main.post { unkept(failure != null) } }
        prefs = Prefs(pen)
        trail = Trail(pen, Place("home"))
        desk = Desk(this, prefs)
        pen.readAll { files ->
            prefs.loaded(files[Prefs.FILE])
            Vocabulary.fetch()
            main.post {
                trail.restore(files)
                restored = true
                awaiting.forEach { it() }
                awaiting.clear()
            }
        }
        // The book is opened before the first screen asks for it.
        // Jobs do not outlive a restart of the phone: what waited then is asked for again.
        desk.ask(work = { book -> book.outbox().any { it.state == QueueState.WAITING } }) { result ->
            if (result.getOrDefault(false) && prefs.now.token != null) Sending.unlessAsked(this)
        }
    }

    /** Hears whether what is typed can no longer be kept. Main thread only. */
    var unkept: (Boolean) -> Unit = {}

    /** Calls [then] now, or as soon as the last process's trail was read. */
    fun whenRestored(then: () -> Unit) {
        if (restored) then() else awaiting += then
    }
}

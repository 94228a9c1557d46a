package gritbook.shell

import android.os.Looper
import android.os.StrictMode
import android.system.Os
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Place
import java.io.File
import java.util.concurrent.CountDownLatch
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.Robolectric
import org.robolectric.RobolectricTestRunner
import org.robolectric.RuntimeEnvironment
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.Config

/** The main thread draws and is never kept waiting: not by the book, not by the disk, not by the network. */
@RunWith(RobolectricTestRunner::class)
@Config(sdk = [34])
class MainThreadTest {
    @get:Rule
    val bench = Bench()

    @get:Rule
    val depot = Depot(tls = true)

    @Test
    fun bookDoesNotAnswerYetThenTheFirstScreenStandsAndCanBeTouched() {
        val app = RuntimeEnvironment.getApplication() as App
        val answers = CountDownLatch(1)
        // Nothing that is asked of the book from here on is answered.
        Desk.Lane.entries.forEach { app.desk.away(it, work = { answers.await() }, then = {}) }
        val controller = Robolectric.buildActivity(MainActivity::class.java)
        controller.setup()
        val end = System.nanoTime() + 20_000_000_000
        while (!app.restored) {
            shadowOf(Looper.getMainLooper()).idle()
            check(System.nanoTime() < end)
            Thread.sleep(2)
        }
        shadowOf(Looper.getMainLooper()).idle()
        val activity = controller.get()
        assertFalse("the book is still busy", app.desk.idle)
        assertEquals("home", activity.screen?.at?.screen)
        val add = activity.findViewById<android.view.View>(R.id.add_pump)
        assertTrue(add.isShown && add.performClick())
        shadowOf(Looper.getMainLooper()).idle()
        assertEquals("add_pump", activity.screen?.at?.screen)
        answers.countDown()
        controller.close()
    }

    /**
     * Everything that the JVM reads, writes or receives through files and sockets, with its stack, as Flight Recorder sees it (JEP 328).
     * By reflection: the sandbox must not load a copy of these classes.
     */
    private class Recorder {
        private val system = ClassLoader.getSystemClassLoader()
        private val recording = system.loadClass("jdk.jfr.Recording").getConstructor().newInstance()

        private fun Any.ask(type: String, name: String, vararg with: Any): Any? =
            system.loadClass(type).methods.first { it.name == name && it.parameterCount == with.size }.invoke(this, *with)

        init {
            for (event in listOf("jdk.FileRead", "jdk.FileWrite", "jdk.FileForce", "jdk.SocketRead", "jdk.SocketWrite")) {
                val settings = recording.javaClass.getMethod("enable", String::class.java).invoke(recording, event)!!
                settings.ask("jdk.jfr.EventSettings", "withThreshold", java.time.Duration.ZERO)
                settings.ask("jdk.jfr.EventSettings", "withStackTrace")
            }
            recording.javaClass.getMethod("start").invoke(recording)
        }

        class Seen(val what: String, val thread: Long, val frames: List<String>)

        fun end(): List<Seen> {
            val file = File.createTempFile("main-thread", ".jfr")
            recording.javaClass.getMethod("stop").invoke(recording)
            recording.javaClass.getMethod("dump", java.nio.file.Path::class.java).invoke(recording, file.toPath())
            recording.javaClass.getMethod("close").invoke(recording)
            val read = system.loadClass("jdk.jfr.consumer.RecordingFile").getMethod("readAllEvents", java.nio.file.Path::class.java)
            val seen = (read.invoke(null, file.toPath()) as List<*>).map { event ->
                val thread = event!!.ask("jdk.jfr.consumer.RecordedEvent", "getThread")
                val stack = event.ask("jdk.jfr.consumer.RecordedEvent", "getStackTrace")
                Seen(
                    what = event.ask("jdk.jfr.consumer.RecordedEvent", "getEventType")!!.ask("jdk.jfr.EventType", "getName") as String,
                    thread = thread?.ask("jdk.jfr.consumer.RecordedThread", "getJavaThreadId") as Long? ?: -1,
                    frames = (stack?.ask("jdk.jfr.consumer.RecordedStackTrace", "getFrames") as List<*>?).orEmpty().map { frame ->
                        val method = frame!!.ask("jdk.jfr.consumer.RecordedFrame", "getMethod")!!
                        val type = method.ask("jdk.jfr.consumer.RecordedMethod", "getType")!!.ask("jdk.jfr.consumer.RecordedClass", "getName")
                        "$type.${method.ask("jdk.jfr.consumer.RecordedMethod", "getName")}"
                    },
                )
            }
            file.delete()
            return seen
        }
    }

    private val classes = File(System.getProperty("gritbook.classes")!!)

    /** The innermost frame of ours, where it is one of the app and not of its tests, and more than the loading of a class. */
    private fun Recorder.Seen.ofTheApp() = inTheApp(frames)

    private fun inTheApp(frames: List<String>): String? {
        val at = frames.indexOfFirst { it.startsWith("gritbook.") }
        if (at < 0 || frames.take(at).any { frame -> LOADING.any { frame.startsWith(it) } }) return null
        return frames[at].takeIf { File(classes, it.substringBeforeLast('.').replace('.', '/') + ".class").isFile }
    }

    @Test
    fun wholeCheckPhotographedSavedAndSentThenNothingOfTheAppWaitsForDiskOrNetworkOnTheMainThread() {
        val here = Thread.currentThread().id
        bench.start()
        bench.pump("Otter")
        depot.start()
        val recorder = Recorder()
        val code = depot.enrol("phone 1")
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(code.picture)
        bench.activity.home()
        bench.settle()
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        bench.activity.home()
        bench.settle()
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
        assertEquals(1, depot.photos().size)
        bench.die()
        bench.settle()
        val seen = recorder.end()
        // It sees: the tests' own camera on this thread, the app's carrier and pen on theirs.
        assertTrue("the camera", seen.any { it.thread == here && it.ofTheApp() == null && it.what == "jdk.FileRead" })
        val elsewhere = seen.filter { it.thread != here }.mapNotNull { it.ofTheApp() }
        assertTrue("$elsewhere", elsewhere.any { "HttpCarrier" in it } && elsewhere.any { "Pen" in it })
        val kept = seen.filter { it.thread == here }.mapNotNull { event -> event.ofTheApp()?.let { "${event.what} by ${event.frames.takeWhile { frame -> frame != it }} in $it" } }.toSet()
        assertEquals(emptySet<String>(), kept)
    }

    /**
     * The framework's own StrictMode hears what passes its own doors here (android.system.Os, slow calls, its databases); files and sockets of
     * java.io and java.net pass the JVM's instead, which the test above listens at.
     */
    @Test
    fun strictModeOfTheFrameworkThenItHearsNothingOfTheApp() {
        val heard = mutableListOf<android.os.strictmode.Violation>()
        val here = java.util.concurrent.Executor { it.run() }
        val listener = StrictMode.OnThreadViolationListener { heard += it }
        val before = StrictMode.getThreadPolicy()
        StrictMode.setThreadPolicy(StrictMode.ThreadPolicy.Builder().detectAll().penaltyListener(here, listener).build())
        try {
            // Whether it hears at all.
            Os.mkdir(File(RuntimeEnvironment.getApplication().cacheDir, "heard").path, 0x1c0)
            StrictMode.noteSlowCall("a slow call")
            shadowOf(Looper.getMainLooper()).idle()
            val control = heard.map { it.javaClass.simpleName }
            assertTrue("$control", "DiskWriteViolation" in control && "CustomViolation" in control)
            heard.clear()
            bench.start()
            bench.pump("Otter")
            bench.touch(bench.checkKey("Otter"))
            bench.cameraTakes(Photos.demo("sand"))
            bench.touch(R.id.liquid_grey)
            bench.touch(R.id.save)
            val ofTheApp = heard.mapNotNull { violation -> inTheApp(violation.stackTrace.map { "${it.className}.${it.methodName}" })?.let { "${violation.javaClass.simpleName} in $it" } }
            assertEquals(emptySet<String>(), ofTheApp.toSet())
        } finally {
            StrictMode.setThreadPolicy(before)
        }
    }

    private companion object {
        /** Classes are read from jars here; a phone has them mapped. */
        val LOADING = listOf("java.lang.ClassLoader.", "org.robolectric.internal.bytecode.", "jdk.internal.loader.")
    }
}

package gritbook.shell.screens

import android.app.Activity
import android.content.Intent
import android.net.Uri
import android.provider.MediaStore
import gritbook.core.EntryBody
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraIsLeft
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Place
import gritbook.shell.pump
import gritbook.shell.thumb
import org.junit.After
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertTrue
import org.junit.Assume.assumeTrue
import org.junit.Before
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.Config
import java.io.File
import java.io.IOException
import java.util.concurrent.TimeUnit

/**
 * The phone's storage is really full: all that the app writes lies on a file system of its own of a few megabytes (a tmpfs, which needs
 * the right to mount), and a file fills it to the last byte. Each thing that cannot be written is told, and is there once there is room.
 */
@RunWith(RobolectricTestRunner::class)
class StorageFullTest {
    @get:Rule
    val bench = Bench()

    private val disk get() = bench.app.filesDir
    private val ballast get() = File(disk, "ballast")
    private var mounted = false

    private fun run(vararg command: String) =
        runCatching { ProcessBuilder(*command).redirectErrorStream(true).start().run { waitFor(20, TimeUnit.SECONDS) && exitValue() == 0 } }.getOrDefault(false)

    @Before
    fun smallDisk() {
        bench.app.pen.close()
        bench.app.desk.close()
        mounted = run("mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", disk.path)
        if (!mounted) println("SKIPPED: mounting a small file system is not permitted here")
        bench.app.start()
        assumeTrue(mounted)
    }

    @After
    fun largeDisk() {
        if (!mounted) return
        bench.app.pen.close()
        bench.app.desk.close()
        assertTrue("still mounted: $disk", run("umount", "-l", disk.path))
    }

    private fun fill() {
        bench.app.pen.flush()
        val written = ballast.outputStream().use { out ->
            val block = ByteArray(4096)
            generateSequence(0) { it + 1 }.takeWhile { runCatching { out.write(block) }.isSuccess && it < 10_000 }.count()
        }
        assertTrue("$written blocks", written in 100..2_000)
        assertEquals(0, disk.usableSpace)
    }

    private fun makeRoom() = assertTrue(ballast.delete())

    private val full get() = "storage is full" in bench.texts()

    private fun checks(pump: String) = bench.book { it.effective(pump) }.mapNotNull { (it.entry.body as? EntryBody.BoxCheck)?.check }

    @Test
    fun storageFullWhenACheckIsSavedThenItIsToldAndSavedOnceThereIsRoom() {
        bench.start()
        val pump = bench.pump("Otter", 100.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_grey)
        fill()
        bench.touch(R.id.save)
        assertEquals("check", bench.screen.at.screen)
        assertTrue(bench.texts(), full)
        assertEquals(0, checks(pump).size)
        assertEquals("GREY", bench.screen.draft.text("liquid"))
        makeRoom()
        bench.touch(R.id.save)
        val check = checks(pump).single()
        assertEquals(listOf(Photos.sha256(Photos.demo("some_sand"))), check.photos)
        assertTrue(bench.book { it.verify() }.sound)
    }

    @Test
    fun storageFullWhenACameraWritesThenItIsToldAndTheNextPhotoIsKept() {
        bench.start()
        bench.pump("Otter", 100.0)
        fill()
        bench.touch(bench.checkKey("Otter"))
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        @Suppress("DEPRECATION")
        val target = asked.intent.getParcelableExtra<Uri>(MediaStore.EXTRA_OUTPUT)!!
        // Cameras say that all went well whatever became of the file.
        val written = runCatching { bench.activity.contentResolver.openOutputStream(target, "w")!!.use { it.write(Photos.demo("sand").readBytes()) } }
        assertTrue("$written", written.exceptionOrNull() is IOException)
        shadowOf(bench.activity as Activity).receiveResult(asked.intent, Activity.RESULT_OK, null)
        bench.settle()
        assertTrue(bench.texts(), full)
        // The draft cannot be written either: said beside it, not in its place.
        bench.app.pen.flush()
        bench.settle()
        assertTrue(bench.texts(), full)
        makeRoom()
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("sand"))
        assertFalse(bench.texts(), full)
        assertTrue(bench.texts(), "Sand" in bench.texts())
    }

    @Test
    fun storageFullWhenAPhotoIsPickedThenItIsToldAndNothingHalfIsLeft() {
        bench.start()
        bench.pump("Otter", 100.0)
        val from = Uri.parse("content://elsewhere/box.jpg")
        shadowOf(bench.app.contentResolver).registerInputStreamSupplier(from) { Photos.demo("sand").inputStream() }
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        fill()
        bench.touch(R.id.pick)
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        shadowOf(bench.activity as Activity).receiveResult(asked.intent, Activity.RESULT_OK, Intent().setData(from))
        bench.settle()
        assertTrue(bench.texts(), full)
        assertEquals(emptyList<String>(), File(disk, "shots").list().orEmpty().toList())
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun storageFullWhenAPhotographedGradeIsSavedThenItIsToldInSpanishAndNothingIsLost() {
        bench.start()
        val pump = bench.pump("Nutria", 100.0)
        bench.activity.go(Place("grade", pump))
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.thumb(3)
        fill()
        bench.touch(R.id.back)
        assertEquals("grade", bench.screen.at.screen)
        assertTrue(bench.texts(), "El teléfono no tiene espacio" in bench.texts())
        makeRoom()
        bench.touch(R.id.back)
        val graded = bench.book { it.effective(pump) }.mapNotNull { (it.entry.body as? EntryBody.Graded)?.graded }.single()
        assertEquals(listOf(Photos.sha256(Photos.demo("lumps"))), graded.photos)
    }

    @Test
    fun storageFullWhileTypingThenItIsToldAndWhatWasTypedIsKeptOnceThereIsRoom() {
        bench.start()
        bench.touch(R.id.add_pump)
        bench.type(R.id.pump_name, "Ott")
        fill()
        bench.type(R.id.pump_name, "Otter of the north yard")
        bench.app.pen.flush()
        bench.settle()
        assertTrue(bench.texts(), "cannot be kept" in bench.texts())
        makeRoom()
        bench.type(R.id.pump_name, "Otter of the north yard 2")
        bench.app.pen.flush()
        bench.settle()
        assertFalse(bench.texts(), "cannot be kept" in bench.texts())
        bench.die()
        bench.settle()
        assertEquals("Otter of the north yard 2", bench.find<android.widget.EditText>(R.id.pump_name).text.toString())
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun storageFullWhileTypingThenItIsToldInSpanish() {
        bench.start()
        bench.touch(R.id.add_pump)
        fill()
        bench.type(R.id.pump_name, "Nutria")
        bench.app.pen.flush()
        bench.settle()
        assertTrue(bench.texts(), "no se puede guardar" in bench.texts())
    }
}

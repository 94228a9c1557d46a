package gritbook.shell.screens

import gritbook.core.EntryBody
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.carry.PhotoProvider
import gritbook.shell.carry.Shots
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Pen
import gritbook.shell.frame.Place
import gritbook.shell.pump
import gritbook.shell.stepDone
import gritbook.shell.thumb
import java.io.File
import java.io.FileNotFoundException
import org.junit.After
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertThrows
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner

/** What goes wrong around the app: it is told, and nothing is lost. */
@RunWith(RobolectricTestRunner::class)
class FaultsTest {
    @get:Rule
    val bench = Bench()

    private val open = Shots.open

    @After
    fun clock() {
        Shots.open = open
        Clock.read = System::currentTimeMillis
    }

    private fun checkWithPhoto(): String {
        bench.start()
        val pump = bench.pump("Otter", 100.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_grey)
        return pump
    }

    private fun checks(pump: String) = bench.book { it.effective(pump) }.filter { it.entry.body is EntryBody.BoxCheck }

    @Test
    fun photoDeletedWhileTheCheckStandsThenSavingSaysSoAndKeepsTheAnswers() {
        val pump = checkWithPhoto()
        Shots.folder(bench.app).listFiles()!!.forEach { it.delete() }
        bench.touch(R.id.save)
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.said))
        assertEquals("GREY", bench.screen.draft.text("liquid"))
        assertEquals(0, checks(pump).size)
    }

    @Test
    fun photoFolderOfTheBookCannotBeWrittenThenSavingSaysSoAndIsDoneOnceItCan() {
        val pump = checkWithPhoto()
        // A file where the folder belongs refuses writing to root as well.
        val folder = File(bench.app.desk.bookFolder, "photos")
        val aside = File(bench.app.desk.bookFolder, "photos-aside")
        assertTrue(folder.renameTo(aside))
        folder.writeText("full")
        bench.touch(R.id.save)
        assertEquals("check", bench.screen.at.screen)
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.said))
        assertEquals(0, checks(pump).size)
        folder.delete()
        assertTrue(aside.renameTo(folder))
        bench.touch(R.id.save)
        assertEquals(1, checks(pump).size)
    }

    /** Screens that photograph, each with how it is reached. */
    private fun photographing(pump: String) = listOf(
        Place("check", pump), Place("wear", "$pump:CUP.A"), Place("wear", "check:$pump:PLATE.B"), Place("enrol"), Place("change", pump),
    )

    private fun photographOn(place: Place) {
        bench.activity.go(place)
        bench.settle()
        if (place.screen == "change") {
            bench.touch(R.id.cup_a)
            while (bench.activity.findViewById<android.view.View>(R.id.photograph) == null) bench.stepDone()
        }
        bench.touch(R.id.photograph)
    }

    @Test
    fun cameraMissingThenEveryScreenThatPhotographsSaysSoAndStands() {
        bench.start()
        val pump = bench.pump("Otter", 100.0)
        Shots.open = { _, _, _ -> throw android.content.ActivityNotFoundException() }
        for (place in photographing(pump)) {
            photographOn(place)
            assertTrue("$place: ${bench.texts()}", "This phone offers no camera." in bench.texts())
            assertEquals(place, bench.screen.at)
        }
    }

    @Test
    @org.robolectric.annotation.Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun cameraRefusedThenEveryScreenThatPhotographsSaysSoAndStands() {
        bench.start()
        val pump = bench.pump("Nutria", 100.0)
        Shots.open = { _, _, _ -> throw SecurityException("not allowed") }
        for (place in photographing(pump)) {
            photographOn(place)
            assertTrue("$place: ${bench.texts()}", "El teléfono no permite usar la cámara." in bench.texts())
            assertEquals(place, bench.screen.at)
        }
    }

    @Test
    fun clockSetBackThenGradesAndCallsStandAfterWhatWasThere() {
        bench.start()
        val pump = bench.pump("Otter", 100.0)
        val before = bench.book { it.effective(pump) }.last().entry
        Clock.read = { before.at.utcMs - 400L * 86_400_000 }
        bench.activity.go(Place("grade", pump))
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.thumb(2)
        bench.touch(R.id.back)
        val last = bench.book { it.effective(pump) }.last().entry
        assertTrue("$last", last.body is EntryBody.Graded)
        assertTrue("the order goes on", last.hlcMs > before.hlcMs || (last.hlcMs == before.hlcMs && last.hlcCount > before.hlcCount))
        assertTrue(bench.book { it.verify() }.sound)
    }

    @Test
    fun draftCannotBeWrittenThenItIsToldWhileTheWordsStandOnTheScreen() {
        bench.start()
        val drafts = File(bench.app.filesDir, "drafts")
        bench.app.pen.flush()
        drafts.deleteRecursively()
        drafts.writeText("no room")
        bench.touch(R.id.add_pump)
        bench.type(R.id.pump_name, "Otter")
        bench.app.pen.flush()
        bench.settle()
        assertTrue(bench.texts(), "cannot be kept" in bench.texts())
        assertEquals("Otter", bench.find<android.widget.EditText>(R.id.pump_name).text.toString())
    }

    @Test
    fun clockSetBackThenTheCheckIsSavedAfterWhatStoodThere() {
        bench.start()
        val pump = bench.pump("Otter", 100.0)
        val yesterday = System.currentTimeMillis() - 86_400_000
        Clock.read = { yesterday }
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        val entries = bench.book { it.effective(pump) }.map { it.entry }
        assertTrue(entries.last().body is EntryBody.BoxCheck)
        assertEquals("the wall clock is kept as it was", yesterday, entries.last().at.utcMs)
        assertTrue(bench.texts(), "Otter" in bench.texts())
    }

    @Test
    fun savedTwiceAfterTheProcessEndedThenTheCheckStandsOnce() {
        val pump = checkWithPhoto()
        val draft = bench.screen.draft.json.toString()
        val shots = Shots.folder(bench.app)
        val kept = File(bench.app.cacheDir, "kept")
        shots.copyRecursively(kept)
        bench.touch(R.id.save)
        kept.copyRecursively(shots, overwrite = true)
        // The process ended after the save and before the draft was taken away.
        bench.app.pen.write("draft.check.$pump.json", draft)
        bench.app.pen.write("trail.json", """[{"screen":"home"},{"screen":"check","about":"$pump"}]""")
        bench.die()
        bench.settle()
        bench.touch(R.id.save)
        assertEquals(1, checks(pump).size)
    }

    @Test
    fun bookOfANewerProgramThenHomeSaysSoAndTouchesNothing() {
        bench.start()
        bench.app.desk.close()
        // SQLite file format, section 1.3: the user version stands at byte 60 of the header, four bytes, big-endian.
        val database = File(bench.app.desk.bookFolder, "book.sqlite")
        java.io.RandomAccessFile(database, "rw").use {
            it.seek(60)
            it.writeInt(9_999)
        }
        val before = Photos.sha256(database)
        bench.die()
        bench.settle()
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.said))
        assertEquals(before, Photos.sha256(database))
    }

    @Test
    fun callOfTheBookOnTheMainThreadThenItIsRefused() {
        bench.start()
        assertThrows(IllegalStateException::class.java) { bench.app.desk.bookHere() }
        assertThrows(IllegalStateException::class.java) { Desk.notOnMain() }
    }

    @Test
    fun providerAskedForAnythingElseThenThereIsNothing() {
        bench.start()
        val provider = bench.app.contentResolver
        listOf("content://gritbook.shell.photos/..%2Fbook%2Fbook.sqlite", "content://gritbook.shell.photos/a/b.jpg", "content://gritbook.shell.photos/settings.json").forEach { uri ->
            assertThrows(uri, FileNotFoundException::class.java) { provider.openInputStream(android.net.Uri.parse(uri)) }
        }
    }

    @Test
    fun permissionsThenInternetAndNothingElse() {
        bench.start()
        val info = bench.app.packageManager.getPackageInfo(bench.app.packageName, android.content.pm.PackageManager.GET_PERMISSIONS)
        assertEquals(listOf("android.permission.INTERNET"), info.requestedPermissions?.toList())
    }

    @Test
    fun fileHalfWrittenWhenTheProcessEndedThenTheLastWholeOneIsRead() {
        val folder = File(bench.app.cacheDir, "pen").apply { mkdirs() }
        val pen = Pen(folder)
        pen.write("draft.x.json", """{"a":1}""")
        pen.flush()
        File(folder, "draft.x.json.new").writeText("""{"a":""")
        var read: Map<String, String> = emptyMap()
        pen.readAll { read = it }
        pen.flush()
        pen.close()
        assertEquals(mapOf("draft.x.json" to """{"a":1}"""), read)
    }

    @Test
    fun placeOfAnotherProgramThenItLeadsHome() {
        bench.start()
        bench.activity.go(Place("something newer"))
        bench.settle()
        assertTrue(bench.screen is gritbook.shell.screens.home.HomeScreen)
    }

    @Test
    @org.robolectric.annotation.Config(qualifiers = "en-rGB-w360dp-h640dp-xhdpi")
    fun phoneTurnedThenTheAnswersStand() {
        checkWithPhoto()
        bench.turn("en-rGB-w640dp-h360dp-land-xhdpi")
        bench.picture("check_land")
        assertEquals("GREY", bench.screen.draft.text("liquid"))
        assertTrue(bench.texts(), "Some sand" in bench.texts())
        assertNull(bench.activity.findViewById(R.id.said))
    }
}

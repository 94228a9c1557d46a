package gritbook.shell.screens

import android.app.Activity
import android.net.Uri
import android.provider.MediaStore
import android.view.View
import android.widget.EditText
import android.widget.TextView
import gritbook.core.BoxCheckDraft
import gritbook.core.Cup
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.core.Part
import gritbook.core.PartFitted
import gritbook.core.changeOutState
import gritbook.shell.Bench
import gritbook.shell.Depot
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.calls
import gritbook.shell.cameraIsLeft
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.look.photo.OutlinePhotoView
import gritbook.shell.look.photo.RulerPhotoView
import gritbook.shell.look.photo.WearPane
import gritbook.shell.look.thumb.ThumbGradeView
import gritbook.shell.newCups
import gritbook.shell.pump
import gritbook.shell.pumpSince
import gritbook.shell.stepDone
import gritbook.shell.thumb
import org.junit.Assert.assertArrayEquals
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.Config
import java.io.File

/**
 * Every screen with something typed or photographed on it: the phone is turned (the Activity made anew), then the process ends and the
 * system brings the Activity back. What was there is there again.
 */
@RunWith(RobolectricTestRunner::class)
@Config(qualifiers = UPRIGHT)
class LifeCycleTest {
    @get:Rule
    val bench = Bench()

    @get:Rule
    val depot = Depot()

    /** A test for each screen of the program, named after its place; none is left out and none is of a screen that is gone. */
    @Test
    fun everyScreenHasItsTest() {
        val tests = LifeCycleTest::class.java.declaredMethods.filter { it.isAnnotationPresent(Test::class.java) }.map { it.name }.toSet() - "everyScreenHasItsTest"
        assertEquals(SCREENS.keys.map { it.replace("_", "") }.toSet(), tests.map { it.lowercase() }.toSet())
    }

    /** [found] is asked before, after a turn, after a turn back and after the end of the process. */
    private fun lives(screen: String, found: () -> Unit) {
        fun here() {
            bench.layOut()
            bench.settle()
            assertEquals(screen, bench.screen.at.screen)
            found()
        }
        here()
        bench.turn(SIDEWAYS)
        here()
        bench.turn(UPRIGHT)
        here()
        bench.die()
        bench.settle()
        here()
    }

    private fun typed(id: Int) = bench.find<EditText>(id).text.toString()

    private fun chosen(tag: String) = bench.all().first { it.tag == tag }.isSelected

    private fun go(place: Place) {
        bench.activity.go(place)
        bench.settle()
    }

    private fun otter(): String {
        bench.start()
        return bench.pump("Otter", 9_000.0)
    }

    @Test
    fun home() {
        otter()
        lives("home") { assertTrue(bench.texts(), "Otter" in bench.texts()) }
    }

    @Test
    fun addPump() {
        bench.start()
        bench.touch(R.id.add_pump)
        bench.type(R.id.pump_name, "Heron")
        bench.type(R.id.total, "1234")
        bench.type(R.id.stroke, "1800")
        bench.touch(bench.all().first { it.tag == "seal.O_RING" })
        lives("add_pump") {
            assertEquals(listOf("Heron", "1234", "1800"), listOf(R.id.pump_name, R.id.total, R.id.stroke).map(::typed))
            assertTrue(chosen("seal.O_RING"))
        }
    }

    @Test
    fun editPump() {
        val pump = otter()
        go(Place("edit_pump", pump))
        bench.type(R.id.bore, "187,5")
        bench.touch(bench.all().first { it.tag == "fluid.OIL" })
        lives("edit_pump") {
            assertEquals("187,5", typed(R.id.bore))
            assertEquals("Otter", typed(R.id.pump_name))
            assertTrue(chosen("fluid.OIL"))
        }
    }

    @Test
    fun pump() {
        val pump = otter()
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        bench.touch(R.id.by_eye)
        bench.touch(R.id.level_sand)
        bench.touch(R.id.liquid_grey)
        // What the save said about the total has to be seen, whenever.
        bench.touch(R.id.total_line)
        bench.type(R.id.total, "90")
        bench.touch(R.id.done)
        bench.touch(R.id.save)
        assertEquals(pump, bench.screen.at.about)
        lives("pump") { assertTrue(bench.texts(), "went back from 9000 to 90 m3" in bench.texts()) }
    }

    @Test
    fun check() {
        otter()
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_oily)
        bench.touch(R.id.settled_line)
        bench.type(R.id.settled, "45")
        bench.touch(R.id.done)
        bench.touch(R.id.low)
        bench.touch(R.id.total_line)
        bench.type(R.id.total, "9012,5")
        lives("check") {
            assertEquals("9012,5", typed(R.id.total))
            assertTrue("read again", bench.texts().lines().any { "Some sand" in it })
            assertEquals(1, bench.screen.draft.list("shots").count { gritbook.shell.carry.Shots.file(bench.app, it).length() > 0 })
        }
        bench.touch(R.id.done)
        for (words in listOf("oily", "45")) assertTrue("$words in\n${bench.texts()}", words in bench.texts())
        assertTrue(bench.find<View>(R.id.low).isSelected)
    }

    @Test
    fun grade() {
        val pump = otter()
        go(Place("grade", pump))
        bench.touch(R.id.next)
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.thumb(3)
        lives("grade") {
            assertTrue(bench.texts(), "Cup B" in bench.texts())
            assertEquals(3, bench.find<ThumbGradeView>(R.id.thumb).grade)
            assertEquals(View.VISIBLE, bench.find<View>(R.id.wear_pair).visibility)
        }
    }

    @Test
    fun wear() {
        val pump = otter()
        go(Place("grade", pump))
        bench.thumb(2)
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.touch(R.id.wear_pair)
        lives("wear") {
            assertNotNull("the photo is shown", bench.find<WearPane>(R.id.wear_now).stance)
            assertTrue(bench.texts(), "2 worn" in bench.texts())
        }
    }

    @Test
    fun outline() {
        val pump = otter()
        go(Place("grade", pump))
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.touch(R.id.wear_pair)
        bench.touch(R.id.outline)
        bench.touch(R.id.outline_all)
        lives("outline") { assertEquals(8, bench.find<OutlinePhotoView>(R.id.seen).outlinePx.size) }
    }

    @Test
    fun bore() {
        val pump = otter()
        go(Place("bore", pump))
        bench.touch(R.id.side_b)
        bench.type(R.id.bore_at_2, "200,31")
        bench.type(R.id.bore_at_6, "20")
        bench.type(R.id.bore_chrome, "0.25")
        lives("bore") {
            assertEquals(listOf("", "200,31", "20", "0.25", "200", "0.01"), listOf(R.id.bore_at_1, R.id.bore_at_2, R.id.bore_at_6, R.id.bore_chrome, R.id.bore_new, R.id.bore_step).map(::typed))
            assertTrue("side B", bench.find<View>(R.id.side_b).isSelected)
            assertTrue(bench.texts(), "0.310 ± 0.005" in bench.texts() && "diameter of 20.00 mm cannot be" in bench.texts())
        }
    }

    @Test
    fun ruler() {
        otter()
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.bad("no_card.jpg"))
        bench.touch(R.id.ruler)
        bench.type(R.id.length, "100")
        val crosses = bench.find<RulerPhotoView>(R.id.seen)
        crosses.performAccessibilityAction(R.id.ruler_left, null)
        crosses.performAccessibilityAction(R.id.ruler_down, null)
        val laid = crosses.pointsPx.copyOf()
        lives("ruler") {
            assertEquals("100", typed(R.id.length))
            assertArrayEquals(laid, bench.find<RulerPhotoView>(R.id.seen).pointsPx, 0.5f)
            assertEquals(listOf(true, false), bench.find<RulerPhotoView>(R.id.seen).laid.toList())
        }
    }

    @Test
    fun outbox() {
        otter()
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        // A photo that is gone from the phone cannot be sent: it is parked.
        File(bench.app.desk.bookFolder, "photos").listFiles()!!.forEach { it.delete() }
        depot.start()
        val code = depot.enrol("phone 1")
        bench.app.prefs.edit {
            put("depot", depot.url)
            put("token", code.token)
        }
        bench.activity.home()
        bench.settle()
        go(Place("outbox"))
        bench.touch(R.id.send)
        bench.touch(bench.all().filterIsInstance<TextView>().first { it.text.toString() == "Do not send" })
        lives("outbox") { assertTrue(bench.texts(), "The depot will never get it" in bench.texts()) }
        bench.touch(R.id.back)
        go(Place("outbox"))
        assertFalse("left, the question is taken back", "The depot will never get it" in bench.texts())
    }

    @Test
    fun call() {
        val pump = otter()
        bench.book { book -> Cup.entries.forEach { book.fitted(pump, PartFitted(Part.CUP, it, 8_000.0, false, null), Clock.now()) } }
        go(Place("call", pump))
        bench.drag(R.id.tape, -0.3f)
        val pour = bench.screen.draft.json.getDouble("pour_m3")
        bench.touch(R.id.overrule)
        bench.touch(bench.all().first { it.tag == "CHANGE_FIRST" })
        bench.type(R.id.reason, "noise at the box")
        lives("call") {
            assertEquals("noise at the box", typed(R.id.reason))
            assertTrue(chosen("CHANGE_FIRST"))
            assertEquals(pour, bench.screen.draft.json.getDouble("pour_m3"), 0.0)
        }
    }

    @Test
    fun why() {
        val pump = otter()
        bench.newCups(pump, 8_000.0)
        bench.book { it.saveBoxCheck(BoxCheckDraft(pump, pumpM3 = 9_000.0, levelByEye = LevelCode.SAND, liquid = Liquid.OILY), null, Clock.now()) }
        go(Place("why", pump))
        bench.touch(bench.all().first { it.tag == "WORN_CUPS" })
        lives("why") {
            assertTrue(bench.texts(), "look at both cups' lips" in bench.texts())
            assertTrue("its own key is under the thumb", bench.all().any { it.tag == Part.CUP.name && it.isShown })
        }
    }

    @Test
    fun track() {
        bench.start()
        bench.calls(bench.pumpSince("Heron", 3_000.0, day = 19_900), 0.1, calls = 12, failed = 1, fromDay = 20_000)
        go(Place("track"))
        lives("track") { assertTrue(bench.texts(), "Was 8 of 100" in bench.texts() || "Was 8.3 of 100" in bench.texts()) }
    }

    @Test
    fun change() {
        val pump = otter()
        go(Place("change", pump))
        bench.touch(R.id.cup_b)
        val steps = changeOutState(bench.screen.draft.text("document")).steps
        val photographed = steps.indexOfFirst { it.photo }
        repeat(photographed) { bench.stepDone() }
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("paste"))
        bench.touch(R.id.skip)
        bench.type(R.id.reason, "no light")
        lives("change") {
            assertTrue(bench.texts(), steps[photographed].title.en in bench.texts())
            assertEquals("no light", typed(R.id.reason))
            assertEquals(listOf(Photos.sha256(Photos.demo("paste"))), bench.screen.draft.list("photos"))
        }
    }

    @Test
    fun settings() {
        bench.start()
        bench.touch(R.id.settings)
        bench.type(R.id.person, "Íñigo")
        bench.type(R.id.watch, "77")
        bench.type(R.id.lump, "3,25")
        bench.touch(bench.all().first { it.tag == "units.INCH" })
        lives("settings") {
            assertEquals(listOf("Íñigo", "77", "3,25"), listOf(R.id.person, R.id.watch, R.id.lump).map(::typed))
            assertTrue(chosen("units.INCH"))
        }
    }

    @Test
    fun enrol() {
        depot.start()
        val code = depot.enrol("phone 1")
        bench.start()
        go(Place("enrol"))
        bench.type(R.id.code, "secret-of-the-depot")
        bench.turn(SIDEWAYS)
        assertEquals("secret-of-the-depot", typed(R.id.code))
        bench.turn(UPRIGHT)
        bench.touch(R.id.photograph)
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        // What is typed here lets a phone in: it must not lie on the disk, and is the one thing that ends with the process.
        bench.app.pen.flush()
        assertEquals(emptyList<File>(), bench.app.filesDir.walk().filter { it.isFile && "secret-of-the-depot" in it.readText(Charsets.ISO_8859_1) }.toList())
        bench.die()
        bench.settle()
        assertEquals("enrol", bench.screen.at.screen)
        @Suppress("DEPRECATION")
        val target = asked.intent.getParcelableExtra<Uri>(MediaStore.EXTRA_OUTPUT)!!
        bench.activity.contentResolver.openOutputStream(target, "w")!!.use { it.write(code.picture.readBytes()) }
        shadowOf(bench.activity as Activity).callOnActivityResult(asked.requestCode, Activity.RESULT_OK, null)
        bench.settle()
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.enrolled))
        val kept = bench.app.prefs.now
        assertTrue("${kept.code}", kept.code!! in code.code)
        assertFalse("a token of its own", kept.token!! in listOf(code.token, kept.code))
    }

    private companion object {
        const val SIDEWAYS = "en-rGB-w640dp-h360dp-land-xhdpi"
    }
}

private const val UPRIGHT = "en-rGB-w360dp-h640dp-port-xhdpi"

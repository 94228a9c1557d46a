package gritbook.shell.look

import android.view.View
import gritbook.core.BoxCheckDraft
import gritbook.core.Cup
import gritbook.core.GradeDraft
import gritbook.core.GradeGiven
import gritbook.core.GradeSource
import gritbook.core.GradesDraft
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.core.Moment
import gritbook.core.Part
import gritbook.core.PourMade
import gritbook.core.UnitSystem
import gritbook.core.criteriaEdition
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.calls
import gritbook.shell.cameraIsLeft
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.newCups
import gritbook.shell.pump
import gritbook.shell.pumpSince
import gritbook.shell.stepDone
import gritbook.shell.thumb
import gritbook.shell.wornFace
import org.junit.Assert.assertEquals
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode

/**
 * Every screen with something on it, in both languages, both ways, at 100 and 200 % type, by day and night: no word cut, nothing
 * on top of anything else, everything that is touched as large as a glove needs; and a picture of each for people to judge.
 */
@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class ScreensTest {
    @get:Rule
    val bench = Bench()

    private val wrong = ArrayList<String>()
    private var seen = 0

    private fun look(name: String) {
        bench.layOut()
        bench.settle()
        bench.layOut()
        val root = bench.activity.findViewById<View>(R.id.ground)
        // Drawn as it is met: the look at its keys scrolls it.
        val picture = draw(root)
        wrong += (faults(root) + keysOutOfSight(root)).map { "$name: $it" }
        assertTrue("$name is nearly empty", inked(picture) > 0.005)
        keep(picture, "screen-$name-${bench.activity.variant()}")
        ContactSheet.add("$name-${bench.activity.variant()}", picture)
        seen++
    }

    private fun go(place: Place) {
        bench.activity.go(place)
        bench.settle()
    }

    private fun home() {
        bench.activity.home()
        bench.settle()
    }

    private fun walk(language: String, landscape: Boolean, night: Boolean, font: Float) {
        phone(language, landscape, night, font)
        bench.start()
        look("01-empty")
        val otter = bench.pump("Otter", 18_250.0)
        bench.pump("Bomba de la obra norte", 9_460.0)
        bench.book { book ->
            book.grade(otter, GradeGiven(Part.CUP, Cup.A, 3u, GradeSource.EYE, criteriaEdition(), 18_250.0, emptyList(), null, ""), Clock.now())
            // Photographed once before.
            val worn = GradeDraft(Part.CUP, Cup.A, 1u, GradeSource.EYE, criteriaEdition(), listOf(wornFace(1).path))
            // 3 March 2024.
            book.saveGrades(GradesDraft(otter, 16_900.0, listOf(worn)), Moment(1_709_467_200_000, 0))
            book.grade(otter, GradeGiven(Part.PLATE, Cup.A, 2u, GradeSource.MEASURED, criteriaEdition(), 18_250.0, emptyList(), null, ""), Clock.now())
        }
        home()
        look("02-home")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        look("03-check-photo")
        bench.touch(R.id.by_eye)
        look("04-check-eye")
        bench.touch(R.id.level_some_sand)
        bench.activity.screen!!.draft.put("by_eye", null)
        bench.activity.again()
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.bad("no_card.jpg"))
        look("05-check-refused")
        go(Place("ruler", otter))
        look("06-ruler")
        bench.activity.leave()
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("sand"))
        look("07-check-read")
        bench.touch(R.id.liquid_muddy)
        look("08-check-rest")
        go(Place("grade", "check:$otter"))
        look("09-grade-none")
        bench.thumb(3)
        look("10-grade")
        bench.touch(R.id.photograph)
        bench.cameraTakes(wornFace(3))
        look("23-grade-photo")
        bench.touch(R.id.wear_pair)
        bench.layOut()
        bench.settle()
        look("24-wear")
        bench.touch(R.id.outline)
        bench.layOut()
        bench.settle()
        bench.touch(R.id.outline_all)
        look("36-outline")
        bench.activity.leave()
        bench.settle()
        bench.activity.leave()
        bench.settle()
        bench.touch(R.id.next)
        bench.touch(R.id.photograph)
        bench.cameraIsLeft()
        look("25-wear-none")
        bench.activity.leave()
        bench.settle()
        bench.activity.leave()
        bench.settle()
        bench.touch(R.id.save)
        look("11-pump")
        go(Place("call", otter))
        look("12-call")
        bench.touch(R.id.overrule)
        look("13-overrule")
        home()
        go(Place("change", otter))
        look("14-change-which")
        bench.touch(R.id.cup_a)
        look("15-change-first")
        var steps = 0
        while (bench.all().none { it is CautionPanel } && steps++ < 40) bench.stepDone()
        look("16-change-hold")
        bench.touch(R.id.skip)
        look("17-change-skip")
        home()
        go(Place("outbox"))
        look("18-outbox")
        home()
        go(Place("settings"))
        look("19-settings")
        home()
        go(Place("enrol"))
        look("20-enrol")
        home()
        go(Place("add_pump"))
        look("21-pump-new")
        home()
        look("22-home-after")
        causes(otter)
        turnedOut()
        assertEquals(40, seen)
        assertEquals("faults on ${bench.activity.variant()}", "", wrong.joinToString("\n"))
    }

    /** New cups, mud again soon after them, and what the book makes of it; before that a pump of which nothing is known. */
    private fun causes(otter: String) {
        val heron = bench.pumpSince("Heron", 3_000.0, day = 18_900)
        go(Place("why", heron))
        look("26-why-nothing")
        home()
        bench.newCups(otter, 18_250.0)
        go(Place("pump", otter))
        look("27-pump-new-cups")
        bench.book { it.poured(otter, PourMade(60.0, 18_310.0, null, null), Clock.now()) }
        home()
        look("28-home-look-due")
        go(Place("pump", otter))
        look("29-pump-look-due")
        bench.book { it.saveBoxCheck(BoxCheckDraft(otter, pumpM3 = 18_360.0, levelByEye = LevelCode.SAND, liquid = Liquid.MUDDY), null, Clock.now()) }
        bench.activity.again()
        bench.settle()
        look("30-pump-look-done")
        bench.touch(R.id.why)
        look("31-why-bore")
        bench.touch(bench.all().first { it.tag == "BAD_FIT" })
        look("32-why-other")
        home()
        bore(otter)
    }

    /** The bore under the thumb, and measured: nothing typed, six diameters, one that cannot be. */
    private fun bore(otter: String) {
        val place = Place("grade", "alone:$otter")
        bench.app.trail.draft(place).put("part", 6)
        go(place)
        look("37-grade-bore")
        bench.touch(R.id.measure)
        look("38-bore")
        val inches = bench.app.prefs.now.system == UnitSystem.INCH
        val diameters = if (inches) listOf("7.8795", "7.8785", "7.8862", "7.8815", "7.8780", "7.8775") else listOf("200,12", "200,09", "200,31", "200,17", "200,08", "200,06")
        BORE_AT.zip(diameters) { id, text -> bench.type(id, text) }
        bench.type(R.id.bore_chrome, if (inches) "0.01" else "0,25")
        look("39-bore-measured")
        bench.type(R.id.bore_at_1, if (inches) "200.12" else "7,88")
        bench.type(R.id.bore_at_2, "a")
        // Left, the field says what is wrong with it.
        bench.touch(R.id.bore_at_3)
        look("40-bore-refused")
        home()
    }

    /** The record of calls: none, few, many. */
    private fun turnedOut() {
        go(Place("track"))
        look("33-track-none")
        home()
        val heron = bench.book { it.pumpNamed("Heron") }
        bench.calls(heron, 0.31, calls = 4, failed = 1, fromDay = 19_000)
        go(Place("track"))
        look("34-track-few")
        home()
        bench.calls(heron, 0.02, calls = 34, failed = 1, fromDay = 19_100)
        bench.calls(heron, 0.10, calls = 26, failed = 2, fromDay = 19_200)
        bench.calls(heron, 0.18, calls = 12, failed = 6, fromDay = 19_300)
        go(Place("track"))
        look("35-track-many")
    }

    @Test
    fun english_upright_by_day() = walk("en", landscape = false, night = false, font = 1f)

    @Test
    fun english_upright_at_200_percent() = walk("en", landscape = false, night = true, font = 2f)

    @Test
    fun english_on_its_side_at_night() = walk("en", landscape = true, night = true, font = 1f)

    @Test
    fun english_on_its_side_at_200_percent() = walk("en", landscape = true, night = false, font = 2f)

    @Test
    fun spanish_upright_at_night() = walk("es", landscape = false, night = true, font = 1f)

    @Test
    fun spanish_upright_at_200_percent() = walk("es", landscape = false, night = false, font = 2f)

    @Test
    fun spanish_on_its_side_by_day() = walk("es", landscape = true, night = false, font = 1f)

    @Test
    fun spanish_on_its_side_at_200_percent() = walk("es", landscape = true, night = true, font = 2f)

    private companion object {
        val BORE_AT = listOf(R.id.bore_at_1, R.id.bore_at_2, R.id.bore_at_3, R.id.bore_at_4, R.id.bore_at_5, R.id.bore_at_6)
    }
}

package gritbook.shell.screens

import gritbook.core.BoxCheckDraft
import gritbook.core.Cup
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.core.Part
import gritbook.core.PartFitted
import gritbook.core.PourMade
import gritbook.shell.Bench
import gritbook.shell.Depot
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraIsLeft
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.newCups
import gritbook.shell.pump
import gritbook.shell.thumb
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner

/** How many touches each journey takes from home, the camera's own two counted (shutter, keep), keys of the keyboard not. */
@RunWith(RobolectricTestRunner::class)
class TouchesTest {
    @get:Rule
    val bench = Bench()

    @get:Rule
    val depot = Depot()

    private fun row(name: String) = bench.all().filterIsInstance<android.widget.TextView>().first { it.text.toString() == name }
        .let { generateSequence(it as android.view.View) { view -> view.parent as? android.view.View }.first { view -> view.hasOnClickListeners() } }

    @Test
    fun boxCheckWithoutATotalThenFive() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        assertEquals("pump", bench.screen.at.screen)
        assertEquals(5, bench.touches)
    }

    @Test
    fun boxCheckByEyeThenSix() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        bench.count(1)
        bench.touch(R.id.by_eye)
        bench.touch(R.id.level_sand)
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        assertEquals("pump", bench.screen.at.screen)
        assertEquals(6, bench.touches)
    }

    @Test
    fun onePartGradedThenFour() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(row("Otter"))
        bench.touch(R.id.grade)
        bench.thumb(2)
        bench.touch(R.id.back)
        assertEquals(1, bench.book { it.pumpSummary(pump) }.grades.size)
        assertEquals(4, bench.touches)
    }

    @Test
    fun onePartGradedWithAPhotoThenSeven() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(row("Otter"))
        bench.touch(R.id.grade)
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.thumb(2)
        bench.touch(R.id.back)
        assertEquals(1, bench.book { it.wearPhotos(pump, Part.CUP, Cup.A, 5u) }.size)
        assertEquals(7, bench.touches)
    }

    @Test
    fun lastPhotoBesideTheNewOneInLargeThenOneMore() {
        bench.start()
        bench.pump("Otter")
        bench.touch(row("Otter"))
        bench.touch(R.id.grade)
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        val before = bench.touches
        bench.touch(R.id.wear_pair)
        assertEquals("wear", bench.screen.at.screen)
        assertEquals(1, bench.touches - before)
    }

    @Test
    fun boxCheckWithOneCupGradedWithAPhotoThenEleven() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.grades_key)
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("lumps"))
        bench.thumb(3)
        bench.touch(R.id.back)
        bench.touch(R.id.save)
        assertEquals(1, bench.book { it.wearPhotos(pump, Part.CUP, Cup.A, 5u) }.size)
        assertEquals(11, bench.touches)
    }

    @Test
    fun callMadeAndRecordedThenThree() {
        bench.start()
        val pump = bench.pump("Otter", 8_000.0)
        bench.book { book -> Cup.entries.forEach { book.fitted(pump, PartFitted(Part.CUP, it, 8_000.0, false, null), Clock.now()) } }
        bench.touch(row("Otter"))
        bench.touch(R.id.call)
        bench.touch(R.id.save)
        assertEquals("pump", bench.screen.at.screen)
        assertEquals(3, bench.touches)
    }

    @Test
    fun whyTheBoxIsBadThenTwoAndTheLookItAsksForThreeMore() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        bench.book { it.saveBoxCheck(BoxCheckDraft(pump, pumpM3 = 9_120.0, levelByEye = LevelCode.SAND, liquid = Liquid.MUDDY), null, Clock.now()) }
        bench.touch(row("Otter"))
        bench.touch(R.id.why)
        assertEquals("why", bench.screen.at.screen)
        assertEquals(2, bench.touches)
        bench.touch(bench.all().first { it.tag == Part.BORE.name })
        bench.thumb(3)
        bench.touch(R.id.back)
        assertEquals(Part.BORE, bench.book { it.pumpSummary(pump) }.grades.single().part)
        assertEquals(3, bench.touches - 2)
    }

    @Test
    fun howTheCallsTurnedOutThenOne() {
        bench.start()
        bench.pump("Otter")
        bench.touch(R.id.track)
        assertEquals("track", bench.screen.at.screen)
        assertEquals(1, bench.touches)
    }

    @Test
    fun lookDueAfterNewCupsThenFive() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        bench.book { it.poured(pump, PourMade(60.0, 9_060.0, null, null), Clock.now()) }
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("paste"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        assertEquals(listOf(true, false, false), bench.book { it.breakIn(pump) }!!.looks.map { it.done })
        assertEquals(5, bench.touches)
    }

    @Test
    fun phoneEnrolledThenFive() {
        depot.start()
        val code = depot.enrol("phone 1")
        bench.start()
        bench.touch(R.id.outbox)
        bench.touch(R.id.enrol)
        bench.touch(R.id.photograph)
        bench.cameraTakes(code.picture)
        assertNotNull(bench.activity.findViewById(R.id.enrolled))
        assertEquals(5, bench.touches)
    }

    @Test
    fun whatWaitsSentNowThenTwo() {
        depot.start()
        val code = depot.enrol("phone 1")
        bench.start()
        bench.app.prefs.edit {
            put("depot", depot.url)
            put("token", code.token)
        }
        bench.pump("Otter")
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
        assertEquals(0, bench.book { it.outbox() }.size)
        assertEquals(2, bench.touches)
    }
}

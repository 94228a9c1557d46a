package gritbook.shell.screens

import android.view.View
import android.widget.TextView
import gritbook.core.BoxCheckDraft
import gritbook.core.Cause
import gritbook.core.GradeGiven
import gritbook.core.GradeSource
import gritbook.core.Cup
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.core.Part
import gritbook.core.changeOutState
import gritbook.core.criteriaEdition
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.look.ShareView
import gritbook.shell.newCups
import gritbook.shell.pump
import gritbook.shell.stepDone
import gritbook.shell.thumb
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

@RunWith(RobolectricTestRunner::class)
class WhyTest {
    @get:Rule
    val bench = Bench()

    private fun go(place: Place) {
        bench.activity.go(place)
        bench.settle()
    }

    private val headline get() = bench.find<TextView>(R.id.headline).text.toString()

    private fun seen(pump: String, level: LevelCode, liquid: Liquid, totalM3: Double) = bench.book {
        it.saveBoxCheck(BoxCheckDraft(pump, pumpM3 = totalM3, levelByEye = level, liquid = liquid), null, Clock.now())
    }

    /** The share's squares that are on the page, from above. */
    private fun shares() = bench.all().filterIsInstance<ShareView>().map { it.share }

    @Test
    fun cupChangedThenMudAgainSoonThenTheBoreStandsFirstAndItsGradeIsOneTouchAway() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        seen(pump, LevelCode.SAND, Liquid.MUDDY, 9_000.0)
        go(Place("change", pump))
        bench.touch(R.id.cup_a)
        repeat(changeOutState(bench.screen.draft.text("document")).steps.size) { bench.stepDone() }
        bench.type(R.id.total, "9050")
        bench.touch(bench.all().first { it.tag == "A.WORN" })
        bench.touch(R.id.save)
        bench.activity.home()
        bench.settle()
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.touch(R.id.liquid_muddy)
        bench.touch(R.id.total_line)
        bench.type(R.id.total, "9170")
        bench.touch(R.id.done)
        bench.touch(R.id.save)
        assertEquals("pump", bench.screen.at.screen)
        val before = bench.touches
        bench.touch(R.id.why)
        assertEquals("one touch from the bad level", 1, bench.touches - before)
        assertEquals("The bore is worn: new cups will not cure it.", headline)
        assertNull("nothing is left open", bench.activity.findViewById(R.id.unsure))
        for (sign in listOf("The water is muddy.", "The cups had just been fitted.", "The box showed it before the change too.")) assertTrue("$sign in\n${bench.texts()}", sign in bench.texts())
        assertTrue(bench.texts(), "measure the bore" in bench.texts())
        assertEquals(shares().sortedDescending(), shares())
        bench.picture("why_bore", heightPx = 3_400)
        val there = bench.touches
        bench.touch(bench.all().first { it.tag == Part.BORE.name })
        assertEquals(1, bench.touches - there)
        assertEquals("grade", bench.screen.at.screen)
        assertEquals("Bore A", headline)
        bench.thumb(3)
        bench.touch(R.id.back)
        assertEquals("back where it was asked for", "why", bench.screen.at.screen)
        assertEquals(Part.BORE, bench.book { it.pumpSummary(pump) }.grades.single().part)
    }

    @Test
    fun oldCupsWithSandThenTheCupsStandFirstAndAGoodGradeOfThemTurnsIt() {
        bench.start()
        val pump = bench.pump("Otter", 1_000.0)
        bench.newCups(pump, 1_000.0)
        seen(pump, LevelCode.SAND, Liquid.MUDDY, 5_200.0)
        go(Place("why", pump))
        assertEquals("The cups are worn.", headline)
        bench.picture("why_cups", heightPx = 3_400)
        assertTrue(bench.texts(), "The cups are old." in bench.texts() && "These cups have no grade yet." in bench.texts())
        val worn = shares().first()
        bench.touch(bench.all().first { it.tag == Part.CUP.name })
        assertEquals("Cup A", headline)
        bench.thumb(1)
        bench.touch(R.id.back)
        assertTrue(bench.texts(), "The cups are graded good." in bench.texts() && "no grade yet" !in bench.texts())
        assertTrue("$worn then ${shares()}", headline != "The cups are worn." || shares().first() < worn)
    }

    @Test
    fun oilOnTheWaterThenTheRodSealAndTheNextLookIsTheBox() {
        bench.start()
        val pump = bench.pump("Otter", 1_000.0)
        bench.newCups(pump, 1_000.0)
        seen(pump, LevelCode.PASTE_ONLY, Liquid.OILY, 3_000.0)
        go(Place("why", pump))
        assertTrue(headline, "rod seal" in headline)
        assertTrue(bench.texts(), "Source: memory, not seen in print" in bench.texts())
        bench.picture("why_rod_seal", heightPx = 3_000)
        bench.touch(R.id.check)
        assertEquals(Place("check", pump), bench.screen.at)
    }

    @Test
    fun oneSignAloneThenItSaysThatItIsNotSureAndWhatNobodyRecorded() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        // Cups of an unknown age, and sand alone.
        bench.book { it.saveBoxCheck(BoxCheckDraft(pump, pumpM3 = 9_000.0, levelByEye = LevelCode.SAND), null, Clock.now()) }
        go(Place("why", pump))
        assertEquals("The cups are worn.", headline)
        assertNotNull(bench.activity.findViewById(R.id.unsure))
        for (open in listOf("The liquid was not recorded", "How much these cups have pumped is not known", "The bore was never measured")) assertTrue("$open in\n${bench.texts()}", open in bench.texts())
    }

    @Test
    fun nothingSeenYetThenItSaysSoAndTheBoxCheckIsUnderTheThumb() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        go(Place("why", pump))
        assertTrue(bench.texts(), "Nothing is known of this pump" in bench.texts() || "never looked at" in bench.texts())
        bench.touch(R.id.check)
        assertEquals("check", bench.screen.at.screen)
    }

    @Test
    fun anotherCauseTouchedThenItLiesOpenWithItsOwnSignsAndKeys() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        seen(pump, LevelCode.SAND, Liquid.MUDDY, 9_120.0)
        go(Place("why", pump))
        assertTrue(headline, "bore" in headline)
        val closed = bench.all().first { it.tag == Cause.BAD_FIT.name }
        assertTrue("${closed.contentDescription}", Regex("went in badly\\. \\d+.of.100").containsMatchIn(closed.contentDescription))
        bench.touch(closed)
        bench.picture("why_bad_fit", heightPx = 3_400)
        assertTrue(bench.texts(), "is the band square" in bench.texts())
        assertEquals(listOf(Part.CUP, Part.GUIDE_BAND).map { it.name }, bench.all().filter { it.isShown }.mapNotNull { it.tag as? String }.filter { tag -> Part.entries.any { it.name == tag } }.sorted())
        bench.touch(R.id.back)
        go(Place("why", pump))
        assertTrue("left, the likeliest lies open again", "is the band square" !in bench.texts())
    }

    @Test
    fun callMadeThenWhyIsOneTouchAway() {
        bench.start()
        val pump = bench.pump("Otter", 8_000.0)
        bench.newCups(pump, 8_000.0)
        seen(pump, LevelCode.LUMPS, Liquid.MUDDY, 10_500.0)
        go(Place("call", pump))
        val before = bench.touches
        bench.touch(R.id.why)
        assertEquals(1, bench.touches - before)
        assertEquals(Place("why", pump), bench.screen.at)
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun phoneInSpanishThenCausesAndSignsAreInSpanish() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        seen(pump, LevelCode.SAND, Liquid.MUDDY, 9_120.0)
        go(Place("why", pump))
        assertEquals("El cilindro está gastado: copas nuevas no lo curan.", headline)
        assertTrue(bench.texts(), "El agua está lodosa." in bench.texts())
        bench.picture("why_es", heightPx = 3_400)
        assertNotEquals(0, bench.find<View>(R.id.cannot_tell).height)
    }

    @Test
    fun boreGradedAndAGradingBegunThenWhatWasGradedBeforeStays() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        seen(pump, LevelCode.SAND, Liquid.MUDDY, 9_120.0)
        bench.book { it.grade(pump, GradeGiven(Part.PLATE, Cup.A, 1u, GradeSource.EYE, criteriaEdition(), 9_120.0, emptyList(), null, ""), Clock.now()) }
        go(Place("grade", "alone:$pump"))
        bench.thumb(2)
        bench.activity.home()
        bench.settle()
        go(Place("why", pump))
        bench.touch(bench.all().first { it.tag == Part.BORE.name })
        bench.thumb(1)
        bench.touch(R.id.back)
        assertEquals(setOf(Part.PLATE, Part.CUP, Part.BORE), bench.book { it.pumpSummary(pump) }.grades.map { it.part }.toSet())
    }
}

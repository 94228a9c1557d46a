package gritbook.shell.screens

import android.os.Looper
import android.view.View
import android.widget.TextView
import gritbook.core.BoxCheckDraft
import gritbook.core.Cup
import gritbook.core.EntryBody
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.core.MeasureTaken
import gritbook.core.Part
import gritbook.core.UnitSystem
import gritbook.core.handInBore
import gritbook.shell.Bench
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.look.CautionPanel
import gritbook.shell.newCups
import gritbook.shell.pump
import java.time.Duration
import org.json.JSONObject
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.Config

/** A bore is measured by hand and its figure kept. */
@RunWith(RobolectricTestRunner::class)
@Config(qualifiers = "en-rGB-w360dp-h640dp-port-xhdpi")
class BoreTest {
    @get:Rule
    val bench = Bench()

    private fun go(place: Place) {
        bench.activity.go(place)
        bench.settle()
    }

    /** At the bore of a pump with 9000 m3. */
    private fun bore(): String {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        go(Place("bore", pump))
        return pump
    }

    private val brief get() = bench.find<TextView>(R.id.measured).text.toString()
    private val headline get() = bench.find<TextView>(R.id.headline).text.toString()

    private fun typed(id: Int) = bench.find<TextView>(id).text.toString()

    private fun measured(pump: String): List<MeasureTaken> = bench.book { it.effective(pump) }.mapNotNull { (it.entry.body as? EntryBody.Measured)?.measured }

    @Test
    fun mudAgainAfterNewCupsThenTheBoreIsMeasuredFromThereAndTheDiagnosisTakesIt() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        bench.book { it.saveBoxCheck(BoxCheckDraft(pump, pumpM3 = 9_120.0, levelByEye = LevelCode.SAND, liquid = Liquid.MUDDY), null, Clock.now()) }
        bench.touch(bench.all().filterIsInstance<TextView>().first { it.text.toString() == "Otter" })
        bench.touch(R.id.why)
        assertTrue(bench.texts(), "The bore was never measured." in bench.texts())
        val there = bench.touches
        bench.touch(R.id.measure)
        assertEquals(Place("bore", pump), bench.screen.at)
        assertEquals("Bore A: measure", headline)
        listOf("200.12", "200.05", "200.55", "200.17", "200.08", "200.06").zip(AT) { text, id -> bench.type(id, text) }
        assertTrue(brief, "Wear 0.550 ± 0.005" in brief && "Good" !in brief)
        bench.picture("bore_measured", heightPx = 3_000)
        bench.touch(R.id.save)
        assertEquals("measured, six diameters typed, kept", 11, bench.touches - there)
        assertEquals("back where it was asked for", "why", bench.screen.at.screen)
        assertTrue(bench.texts(), "never measured" !in bench.texts())
        assertTrue(bench.texts(), "The bore measures worn." in bench.texts())
        val kept = measured(pump).single()
        assertEquals(listOf(Part.BORE, Cup.A, "bore_wear_mm", 9_120.0), listOf(kept.part, kept.cup, kept.measure, kept.pumpM3))
        assertEquals(0.55, kept.value, 1e-9)
        assertNotNull(kept.work)
        val readings = JSONObject(kept.documentJson!!).getJSONArray("readings")
        assertEquals(6, readings.length())
        assertEquals(listOf(210.0, 90.0, 200.05), listOf("station_mm", "direction_deg", "diameter_mm").map(readings.getJSONObject(1)::getDouble))
    }

    @Test
    fun boreUnderTheThumbThenMeasuringIsOneTouchAwayAndBeginsAtItsSide() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        go(Place("grade", "alone:$pump"))
        assertNull("a cup is not measured here", bench.activity.findViewById(R.id.measure))
        repeat(7) { bench.touch(R.id.next) }
        assertEquals("Bore B", headline)
        val there = bench.touches
        bench.touch(R.id.measure)
        assertEquals(1, bench.touches - there)
        assertEquals("Bore B: measure", headline)
        bench.type(R.id.bore_at_1, "200.1")
        bench.touch(R.id.save)
        assertEquals("back at the thumb", "Bore B", headline)
        assertEquals(Cup.B, measured(pump).single().cup)
    }

    @Test
    fun cautionOfTheChangeOutStandsBeforeAnythingIsTyped() {
        bore()
        val told = handInBore()
        val panel = bench.all().filterIsInstance<CautionPanel>().single()
        assertEquals("DANGER. " + told.caution.text.en, panel.contentDescription)
        assertTrue(bench.texts(), told.first.en in bench.texts())
        bench.layOut()
        assertTrue("seen before the first field", panel.top < (bench.find<View>(R.id.side_a).parent as View).top)
    }

    @Test
    fun eachDiameterTypedThenWhatItComesToFollowsAtOnce() {
        bore()
        assertEquals("Type one diameter: what it comes to stands here.", brief)
        bench.type(R.id.bore_at_1, "200.1")
        assertTrue(brief, "Wear 0.100 ± 0.005" in brief)
        assertTrue(bench.texts(), "From 1 of 6 diameters." in bench.texts() && "Ovality" !in bench.texts())
        bench.type(R.id.bore_at_2, "200,5")
        assertTrue(brief, brief.startsWith("Bad. Wear 0.500"))
        assertTrue(bench.texts(), "Ovality 0.400" in bench.texts() && "Chrome left" !in bench.texts())
        bench.type(R.id.bore_at_4, "200.3")
        bench.type(R.id.bore_chrome, "0,2")
        assertTrue(bench.texts(), "Taper 0.200" in bench.texts() && Regex("Chrome left -0\\.050.mm: bad").containsMatchIn(bench.texts()))
        assertTrue("what two points cannot see", "three lobes" in bench.texts())
        bench.type(R.id.bore_step, "0.5")
        assertTrue(brief, brief.startsWith("Too close to call: measure finer, or take it for bad. Wear 0.500 ± 0.250"))
        bench.type(R.id.bore_new, "")
        assertTrue(brief, "Wear at least 0.400" in brief)
    }

    @Test
    fun shopInInchesThenFiguresAreInInchesAndKeptInMillimetres() {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.app.prefs.edit { put("units", UnitSystem.INCH.name) }
        go(Place("bore", pump))
        assertEquals("7.874", typed(R.id.bore_new))
        bench.type(R.id.bore_at_3, "7.8862")
        assertTrue(brief, Regex("Wear 0\\.0122 ± 0\\.0002.in").containsMatchIn(brief))
        bench.touch(R.id.save)
        // 0.0122 in of 25.4 mm.
        assertEquals(0.30988, measured(pump).single().value, 1e-6)
    }

    @Test
    fun diameterInAnotherUnitThenItIsToldBesideItsFieldAndNothingIsLost() {
        val pump = bore()
        bench.type(R.id.bore_at_1, "200.31")
        bench.type(R.id.bore_at_2, "7.88")
        assertTrue("half typed it is let be", "cannot be" !in bench.texts())
        bench.touch(R.id.bore_at_3)
        val words = "Near the box, side to side: A diameter of 7.88 mm cannot be of a bore of 200 mm. Check the figure and its unit."
        assertTrue(bench.texts(), words in bench.texts())
        assertTrue("the others count on: $brief", "0.310" in brief)
        bench.touch(R.id.save)
        assertEquals("nothing is kept while one cannot be", emptyList<MeasureTaken>(), measured(pump))
        assertEquals(listOf("200.31", "7.88"), listOf(typed(R.id.bore_at_1), typed(R.id.bore_at_2)))
        assertTrue(bench.find<View>(R.id.bore_at_2).isFocused)
        bench.type(R.id.bore_at_2, "200.2")
        assertTrue("mended, it is quiet", "cannot be" !in bench.texts())
        bench.touch(R.id.save)
        assertEquals(0.31, measured(pump).single().value, 1e-9)
    }

    @Test
    fun figureHalfTypedForAWhileThenItIsTold() {
        bore()
        bench.type(R.id.bore_at_1, "2oo")
        assertTrue("is not a number" !in bench.texts())
        shadowOf(Looper.getMainLooper()).idleFor(Duration.ofSeconds(2))
        assertTrue(bench.texts(), "Near the box, up and down: The figure `2oo` is not a number" in bench.texts())
        bench.type(R.id.bore_new, "20")
        bench.touch(R.id.bore_step)
        assertTrue(bench.texts(), "Diameter when new: The nominal diameter of 20 mm is outside 80 to 300 mm" in bench.texts())
        assertEquals("nothing is judged against what cannot be", "Type one diameter: what it comes to stands here.", brief)
    }

    @Test
    fun bothSidesTypedThenBothAreKeptEachWithItsOwn() {
        val pump = bore()
        bench.type(R.id.bore_at_1, "200.5")
        bench.touch(R.id.side_b)
        assertEquals("Bore B: measure", headline)
        assertEquals("each side has its own", "", typed(R.id.bore_at_1))
        bench.type(R.id.bore_at_1, "nine")
        bench.touch(R.id.side_a)
        assertEquals("200.5", typed(R.id.bore_at_1))
        bench.touch(R.id.save)
        assertEquals("what cannot be is shown on its side", "Bore B: measure", headline)
        assertTrue(bench.texts(), "is not a number" in bench.texts())
        assertEquals(0, measured(pump).size)
        bench.type(R.id.bore_at_1, "200.04")
        assertEquals("Keep both bores", typed(R.id.save))
        bench.touch(R.id.save)
        assertEquals(listOf(Cup.A to 0.5, Cup.B to 0.04), measured(pump).map { it.cup to Math.round(it.value * 100) / 100.0 })
        go(Place("bore", pump))
        assertEquals("kept, the next one begins anew", "", typed(R.id.bore_at_1))
    }

    @Test
    fun nothingTypedThenNothingIsKeptAndItSaysWhy() {
        val pump = bore()
        bench.touch(R.id.save)
        assertTrue(bench.texts(), "No diameter is typed yet." in bench.texts())
        assertEquals(0, measured(pump).size)
    }

    @Test
    fun savedTwiceAfterTheProcessEndedThenTheMeasureStandsOnce() {
        val pump = bore()
        bench.type(R.id.bore_at_1, "200.31")
        val draft = bench.screen.draft.json.toString()
        bench.touch(R.id.save)
        assertEquals(1, measured(pump).size)
        // As it is where the process ends between saving and tidying up.
        bench.app.pen.write("draft.bore.$pump.json", draft)
        bench.die()
        bench.settle()
        go(Place("bore", pump))
        assertEquals("200.31", typed(R.id.bore_at_1))
        bench.touch(R.id.save)
        assertEquals("measured once", 1, measured(pump).size)
    }

    @Test
    fun leftWithSomethingTypedThenItIsThereAgainAndWithNothingThePumpsFiguresAreReadAnew() {
        val pump = bore()
        bench.touch(R.id.back)
        bench.book { it.setPump(pump, it.pumpSummary(pump).spec.copy(boreMm = 180.0), Clock.now()) }
        go(Place("bore", pump))
        assertEquals("180", typed(R.id.bore_new))
        bench.type(R.id.bore_at_5, "180,2")
        bench.touch(R.id.back)
        go(Place("bore", pump))
        assertEquals("180,2", typed(R.id.bore_at_5))
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-port-xhdpi")
    fun phoneInSpanishThenItSpeaksSpanishAndReadsTheComma() {
        val pump = bore()
        assertEquals("Cilindro A: medir", headline)
        bench.type(R.id.bore_at_1, "200,31")
        assertTrue(brief, brief.startsWith("Bien. Desgaste 0.310 ± 0.005"))
        bench.type(R.id.bore_at_2, "7,88")
        bench.touch(R.id.bore_at_3)
        assertTrue(bench.texts(), "Junto a la caja, de lado a lado: Ese diámetro no puede ser de este cilindro. Revise la cifra y su unidad." in bench.texts())
        assertTrue("tres lóbulos" in bench.texts())
        bench.picture("bore_es", heightPx = 3_000)
        bench.type(R.id.bore_at_2, "")
        bench.touch(R.id.save)
        assertEquals(0.31, measured(pump).single().value, 1e-9)
    }

    private companion object {
        val AT = listOf(R.id.bore_at_1, R.id.bore_at_2, R.id.bore_at_3, R.id.bore_at_4, R.id.bore_at_5, R.id.bore_at_6)
    }
}

package gritbook.shell.screens

import gritbook.core.EntryBody
import gritbook.core.LevelCode
import gritbook.core.UnitSystem
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Place
import gritbook.shell.pump
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

@RunWith(RobolectricTestRunner::class)
class SettingsTest {
    @get:Rule
    val bench = Bench()

    private fun open() {
        bench.touch(R.id.settings)
    }

    @Test
    fun unitsSetToInchThenFiguresAreShownInThem() {
        bench.start()
        bench.pump("Otter", 1_000.0)
        assertTrue(bench.texts(), "m³" in bench.texts())
        open()
        bench.touch(bench.all().first { it.tag == "units.INCH" })
        bench.touch(R.id.save)
        // NIST SP 811 (2008), appendix B.8: 1 yd3 = 0.764 554 9 m3; 1000 m3 are 1307.95 yd3.
        assertTrue(bench.texts(), "1308" in bench.texts() && "yd³" in bench.texts())
        assertEquals(UnitSystem.INCH, bench.app.prefs.now.system)
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun nameSetThenItStandsInTheNextEntry() {
        bench.start()
        open()
        bench.type(R.id.person, "Íñigo")
        bench.touch(R.id.save)
        val pump = bench.pump("Nutria")
        assertEquals("Íñigo", bench.book { it.log(pump, 5u) }.first().person)
        bench.die()
        bench.settle()
        assertEquals("Íñigo", bench.app.prefs.now.person)
    }

    @Test
    fun costThatIsNoNumberThenNothingIsChanged() {
        bench.start()
        open()
        bench.type(R.id.failure_mid_pour, "much")
        bench.touch(R.id.save)
        assertNotNull(bench.activity.findViewById(R.id.said))
        assertEquals(null, bench.app.prefs.now.costs)
    }

    @Test
    fun costsSetWithACommaThenTheyAreKept() {
        bench.start()
        open()
        bench.type(R.id.failure_mid_pour, "7500,5")
        bench.touch(R.id.save)
        assertEquals(7_500.5, bench.app.prefs.now.costs!!.failureMidPour, 0.0)
    }

    @Test
    fun levelLimitsSetThenTheNextReadingUsesAndRecordsThem() {
        bench.start()
        val pump = bench.pump("Otter")
        open()
        assertEquals("2", bench.find<android.widget.EditText>(R.id.lump).text.toString())
        assertEquals("4.75", bench.find<android.widget.EditText>(R.id.coarse_grain).text.toString())
        // A shop for which this much sand is still a little.
        bench.type(R.id.sand_cover, "60")
        bench.type(R.id.lump, "3,5")
        bench.touch(R.id.save)
        assertEquals(60.0, bench.app.prefs.now.limits!!.sandCoverPercent, 0.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        assertTrue(bench.texts(), "Some sand" in bench.texts())
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        val check = bench.book { it.effective(pump) }.firstNotNullOf { (it.entry.body as? EntryBody.BoxCheck)?.check }
        assertEquals(LevelCode.SOME_SAND, check.level)
        val used = org.json.JSONObject(check.reading!!.method.settingsJson).getJSONObject("limits")
        assertEquals(60.0, used.getDouble("sand_cover_percent"), 0.0)
        assertEquals(3.5, used.getDouble("lump_mm"), 0.0)
        assertEquals(4.75, used.getDouble("coarse_grain_mm"), 0.0)
    }

    @Test
    fun levelLimitsBackToTheUsualThenNoneOfTheShopsIsLeft() {
        bench.start()
        bench.app.prefs.edit { put("limits", gritbook.shell.frame.Settings.json(gritbook.core.LevelLimits(0.3, 1.0, 9.0, 3.0, 6.0))) }
        open()
        assertEquals("9", bench.find<android.widget.EditText>(R.id.sand_cover).text.toString())
        bench.touch(R.id.usual_limits)
        assertEquals("5", bench.find<android.widget.EditText>(R.id.sand_cover).text.toString())
        assertEquals("0.1", bench.find<android.widget.EditText>(R.id.some_sand_cover).text.toString())
        bench.touch(R.id.save)
        assertEquals(null, bench.app.prefs.now.limits)
    }

    @Test
    fun levelLimitOutOfRangeThenTheBookSaysWhichAndNothingIsChanged() {
        bench.start()
        open()
        bench.type(R.id.sand_cover, "0.05")
        bench.touch(R.id.save)
        assertEquals("settings", bench.screen.at.screen)
        assertTrue(bench.texts(), "0.05 %, outside 0.1 to 100 %" in bench.texts())
        assertEquals(null, bench.app.prefs.now.limits)
        bench.type(R.id.sand_cover, "5")
        bench.type(R.id.lump, "big")
        bench.touch(R.id.save)
        assertNotNull(bench.activity.findViewById(R.id.said))
        assertEquals(null, bench.app.prefs.now.limits)
    }

    @Test
    fun barOfAShrunkenCardThenTheNextReadingsSizesArePutRightAndSaySo() {
        bench.start()
        val pump = bench.pump("Otter")
        open()
        assertEquals("100", bench.find<android.widget.EditText>(R.id.bar).text.toString())
        bench.type(R.id.bar, "50")
        bench.picture("settings_bar")
        bench.touch(R.id.save)
        assertTrue(bench.texts(), "50 mm, outside 80 to 125 mm" in bench.texts())
        assertEquals(null, bench.app.prefs.now.barMm)
        bench.type(R.id.bar, "94,5")
        bench.touch(R.id.save)
        assertEquals(94.5, bench.app.prefs.now.barMm!!, 0.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        assertTrue(bench.texts(), "Sizes were put right by the card's bar" in bench.texts())
        bench.picture("check_warned")
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        val reading = bench.book { it.effective(pump) }.firstNotNullOf { (it.entry.body as? EntryBody.BoxCheck)?.check }.reading!!
        assertEquals(94.5, org.json.JSONObject(reading.method.settingsJson).getDouble("bar_mm"), 0.0)
        assertEquals(0.945 * 60, reading.scale.windowMm.widthMm, 1e-6)
        assertTrue(reading.quality.findings.map { it.code }.toString(), reading.quality.findings.any { it.code == "bar_off" })
        bench.activity.home()
        bench.settle()
        open()
        bench.type(R.id.bar, "100")
        bench.touch(R.id.save)
        assertEquals(null, bench.app.prefs.now.barMm)
    }

    @Test
    fun processEndsWhileSettingThenWhatWasTypedIsBack() {
        bench.start()
        open()
        bench.type(R.id.person, "An")
        bench.die()
        bench.settle()
        assertEquals("An", bench.find<android.widget.EditText>(R.id.person).text.toString())
    }
}

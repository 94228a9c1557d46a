package gritbook.shell.screens

import gritbook.core.UnitSystem
import gritbook.shell.Bench
import gritbook.shell.R
import gritbook.shell.book
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
    fun processEndsWhileSettingThenWhatWasTypedIsBack() {
        bench.start()
        open()
        bench.type(R.id.person, "An")
        bench.die()
        bench.settle()
        assertEquals("An", bench.find<android.widget.EditText>(R.id.person).text.toString())
    }
}

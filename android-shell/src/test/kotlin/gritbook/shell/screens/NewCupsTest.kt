package gritbook.shell.screens

import android.view.View
import android.widget.TextView
import gritbook.core.PourMade
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.newCups
import gritbook.shell.pump
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

/** The looks into the box that follow new cups: on the pump's page, on Home, and gone once they were taken. */
@RunWith(RobolectricTestRunner::class)
class NewCupsTest {
    @get:Rule
    val bench = Bench()

    private fun withNewCups(): String {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.newCups(pump, 9_000.0)
        return pump
    }

    private fun poured(pump: String, totalM3: Double) = bench.book { it.poured(pump, PourMade(null, totalM3, null, null), Clock.now()) }

    private fun home() {
        bench.activity.home()
        bench.settle()
    }

    private fun page(pump: String) {
        bench.activity.go(Place("pump", pump))
        bench.settle()
    }

    /** Each look as TalkBack says it. */
    private fun looks(): List<String> {
        val box = bench.find<android.view.ViewGroup>(R.id.looks)
        return (0 until box.childCount).map(box::getChildAt).mapNotNull { it.contentDescription?.toString() }
    }

    private fun homeAsks() = bench.all().filterIsInstance<TextView>().any { it.isShown && it.text.toString() == "New cups: look into the box" }

    private fun check() {
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("paste"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        assertEquals("pump", bench.screen.at.screen)
    }

    @Test
    fun nothingPouredYetThenThreeLooksStandAndNoneIsDue() {
        val pump = withNewCups()
        home()
        assertEquals(false, homeAsks())
        page(pump)
        assertEquals(3, looks().size)
        assertTrue("${looks()}", looks()[0].startsWith("After the first pour, nothing poured yet, Only paste may have come"))
        assertEquals(listOf("After 100\u202Fm³, in 100\u202Fm³", "After 300\u202Fm³, in 300\u202Fm³"), looks().drop(1))
    }

    @Test
    fun pouredThenTheLookIsDueOnHomeAndOnThePageAndDoneOnceTheCheckIsSaved() {
        val pump = withNewCups()
        poured(pump, 9_060.0)
        home()
        assertTrue(bench.texts(), homeAsks())
        page(pump)
        assertTrue("${looks()}", looks()[0].startsWith("After the first pour, due now"))
        assertEquals("After 100\u202Fm³, in 40\u202Fm³", looks()[1])
        home()
        check()
        assertEquals("After the first pour, done", looks()[0])
        assertTrue("what to look for stands at the next one: ${looks()}", looks()[1].startsWith("After 100\u202Fm³, in 40\u202Fm³, Still paste only"))
        home()
        assertEquals("done, Home asks no more", false, homeAsks())
        poured(pump, 9_320.0)
        home()
        assertTrue(homeAsks())
        check()
        assertNull("all were taken", bench.activity.findViewById<View>(R.id.looks))
        home()
        assertEquals(false, homeAsks())
    }

    @Test
    fun shopInYardsThenTheLooksAreInYards() {
        val pump = withNewCups()
        bench.app.prefs.edit { put("units", "INCH") }
        page(pump)
        assertEquals(listOf("After 131\u202Fyd³, in 131\u202Fyd³", "After 392\u202Fyd³, in 392\u202Fyd³"), looks().drop(1))
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun phoneInSpanishThenTheLooksAreInSpanish() {
        val pump = withNewCups()
        poured(pump, 9_130.0)
        page(pump)
        assertTrue("${looks()}", looks()[0].startsWith("Después del primer colado, toca ahora, Sólo puede haber pasado lechada"))
        assertEquals("A los 100\u202Fm³, toca ahora", looks()[1])
    }

    @Test
    fun cupsOfUnknownAgeThenNoSuchLooks() {
        bench.start()
        page(bench.pump("Otter", 9_000.0))
        assertNull(bench.activity.findViewById<View>(R.id.looks))
    }
}

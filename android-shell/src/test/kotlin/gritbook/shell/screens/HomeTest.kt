package gritbook.shell.screens

import gritbook.shell.Bench
import gritbook.shell.R
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

@RunWith(RobolectricTestRunner::class)
class HomeTest {
    @get:Rule
    val bench = Bench()

    @Test
    fun emptyBookThenHomeSaysHowToBegin() {
        bench.start()
        assertTrue(bench.texts(), "No pump yet" in bench.texts())
    }

    @Test
    @Config(qualifiers = "es-rES-w360dp-h640dp-xhdpi")
    fun phoneInSpanishThenHomeIsInSpanish() {
        bench.start()
        assertTrue(bench.texts(), "Todavía no hay bombas" in bench.texts())
    }

    @Test
    fun pumpAddedThenItStandsOnHomeAndInTheBook() {
        bench.start()
        bench.touch(R.id.add_pump)
        bench.type(R.id.pump_name, "Bomba Ñ 7")
        bench.touch(R.id.save)
        assertTrue(bench.texts(), "Bomba Ñ 7" in bench.texts())
        bench.picture("home")
        assertEquals(3, bench.touches)
        assertEquals(listOf("home"), bench.app.trail.places.map { it.screen })
    }

    @Test
    fun processEndsWhileTypingThenTheNameIsStillThere() {
        bench.start()
        bench.touch(R.id.add_pump)
        bench.type(R.id.pump_name, "half typ")
        bench.die()
        bench.settle()
        assertEquals("half typ", bench.find<android.widget.EditText>(R.id.pump_name).text.toString())
    }

    @Test
    fun nameRefusedThenReasonStandsOnThePageAndTypedWordsStay() {
        bench.start()
        bench.touch(R.id.add_pump)
        bench.touch(R.id.save)
        assertEquals("add_pump", bench.screen.at.screen)
        assertFalse(bench.find<android.view.ViewGroup>(R.id.said).childCount == 0)
    }
}

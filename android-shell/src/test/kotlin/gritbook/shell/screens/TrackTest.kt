package gritbook.shell.screens

import gritbook.shell.Bench
import gritbook.shell.R
import gritbook.shell.calls
import gritbook.shell.frame.Place
import gritbook.shell.look.HundredView
import gritbook.shell.look.TallyView
import gritbook.shell.pumpSince
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

/** How the calls turned out: nothing claimed of a few, a share with what it leaves open of many. */
@RunWith(RobolectricTestRunner::class)
class TrackTest {
    @get:Rule
    val bench = Bench()

    private fun heron(): String {
        bench.start()
        return bench.pumpSince("Heron", 3_000.0, day = 18_900)
    }

    private fun open() {
        bench.activity.go(Place("track"))
        bench.settle()
        bench.layOut()
    }

    private inline fun <reified V> shown() = bench.all().filterIsInstance<V>().size

    @Test
    fun noCallWithAnOutcomeThenNoNumberAtAll() {
        val pump = heron()
        bench.activity.go(Place("call", pump))
        bench.settle()
        bench.touch(R.id.save)
        open()
        assertTrue(bench.texts(), "No call can be judged yet" in bench.texts() && "1 more call has no outcome" in bench.texts())
        assertEquals(0, shown<HundredView>() + shown<TallyView>())
        assertTrue(bench.texts(), "of 100" !in bench.texts().replace("pour of 100", ""))
    }

    @Test
    fun fewCallsThenTheirNumberAndNoShare() {
        bench.calls(heron(), 0.3, calls = 4, failed = 1, fromDay = 19_000)
        open()
        assertNotNull(bench.activity.findViewById(R.id.too_few))
        assertTrue(bench.texts(), "1 failed; the calls together said 1.2." in bench.texts() && "4 calls, 1 failed" in bench.texts())
        assertTrue(bench.texts(), "Was " !in bench.texts() && "better than" !in bench.texts())
        assertEquals(0, shown<HundredView>())
        assertEquals(1, shown<TallyView>())
    }

    @Test
    fun manyCallsThenWhatWasSaidAndWhatWasStandTogether() {
        val pump = heron()
        bench.calls(pump, 0.02, calls = 34, failed = 1, fromDay = 19_100)
        bench.calls(pump, 0.10, calls = 25, failed = 2, fromDay = 19_200)
        bench.calls(pump, 0.18, calls = 12, failed = 7, fromDay = 19_300)
        bench.calls(pump, 0.40, calls = 3, failed = 0, fromDay = 19_400)
        open()
        bench.picture("track_many", heightPx = 3_000)
        assertNull(bench.activity.findViewById(R.id.too_few))
        assertTrue(bench.texts(), "Said 10 of 100" in bench.texts() && "Was 8.0 of 100" in bench.texts())
        assertTrue(bench.texts(), "More failed than was said." in bench.texts())
        assertTrue("three calls alone say nothing: ${bench.texts()}", "3 calls, 0 failed" in bench.texts())
        assertEquals("all together and three sizes", 4, shown<HundredView>())
        assertEquals(1, shown<TallyView>())
        val row = bench.all().first { it.contentDescription?.startsWith("Said 10 of 100") == true }
        assertTrue("${row.contentDescription}", "Was 8.0 of 100" in row.contentDescription && "25 calls, 2 failed" in row.contentDescription)
    }

    @Test
    fun callsThatSawTheFailuresComingThenSaidInPlainWords() {
        val pump = heron()
        bench.calls(pump, 0.02, calls = 20, failed = 0, fromDay = 19_100)
        bench.calls(pump, 0.70, calls = 10, failed = 8, fromDay = 19_200)
        open()
        assertTrue(bench.texts(), "better than one chance for all" in bench.texts())
    }

    @Test
    fun callsThatDidNotThenThatToo() {
        val pump = heron()
        bench.calls(pump, 0.02, calls = 20, failed = 8, fromDay = 19_100)
        bench.calls(pump, 0.70, calls = 10, failed = 0, fromDay = 19_200)
        open()
        assertTrue(bench.texts(), "no better than one chance for all" in bench.texts())
    }

    @Test
    fun reachedFromHomeAndFromThePumpInOneTouch() {
        val pump = heron()
        bench.activity.home()
        bench.settle()
        bench.touch(R.id.track)
        assertEquals("track", bench.screen.at.screen)
        bench.touch(R.id.back)
        bench.activity.go(Place("pump", pump))
        bench.settle()
        bench.touch(R.id.track)
        assertEquals("track", bench.screen.at.screen)
        bench.touch(R.id.back)
        assertEquals("pump", bench.screen.at.screen)
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun phoneInSpanishThenItIsTold() {
        bench.calls(heron(), 0.1, calls = 12, failed = 1, fromDay = 19_000)
        open()
        assertTrue(bench.texts(), "Se dijo 10 de 100" in bench.texts() && "Como se dijo" in bench.texts())
    }
}

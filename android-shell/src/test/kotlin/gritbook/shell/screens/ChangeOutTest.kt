package gritbook.shell.screens

import gritbook.core.EntryBody
import gritbook.core.changeOutState
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.frame.Place
import gritbook.shell.pump
import gritbook.shell.stepDone
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner

@RunWith(RobolectricTestRunner::class)
class ChangeOutTest {
    @get:Rule
    val bench = Bench()

    private fun begin(): String {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.activity.go(Place("change", pump))
        bench.settle()
        bench.touch(R.id.cup_a)
        return pump
    }

    private val state get() = changeOutState(bench.screen.draft.text("document"))

    @Test
    fun cautionOfAHoldPointThenItsSignalWordStandsOnTheStep() {
        begin()
        val steps = state.steps
        val first = steps.indexOfFirst { it.caution?.signal == gritbook.core.Signal.DANGER }
        repeat(first) { bench.stepDone() }
        assertEquals(first, state.marked.toInt())
        assertTrue(bench.texts(), "DANGER" in bench.texts())
        assertTrue(bench.texts(), steps[first].caution!!.text.en in bench.texts())
        bench.picture("change_hold")
    }

    @Test
    @org.robolectric.annotation.Config(qualifiers = "en-rGB-w360dp-h640dp-port-xhdpi")
    fun holdPointLongerThanTheScreenThenItIsReadToItsEndBeforeItCanBeHeld() {
        org.robolectric.RuntimeEnvironment.setFontScale(2f)
        begin()
        val first = state.steps.indexOfFirst { it.caution?.signal == gritbook.core.Signal.DANGER }
        repeat(first) { bench.stepDone() }
        bench.layOut()
        bench.settle()
        assertTrue(bench.texts(), "Read on" in bench.texts() && "it is so" !in bench.texts())
        assertNull(bench.activity.findViewById(R.id.done))
        bench.touch(R.id.read_on)
        assertEquals("nothing is marked by reading", first, state.marked.toInt())
        while (bench.activity.findViewById<android.view.View>(R.id.read_on) != null) bench.touch(R.id.read_on)
        val told = bench.all().filterIsInstance<android.widget.TextView>().first { it.text.toString() == state.steps[first].text.en }
        val seen = android.graphics.Rect()
        assertTrue(told.getGlobalVisibleRect(seen))
        bench.touch(R.id.done)
        assertEquals(first + 1, state.marked.toInt())
    }

    @Test
    fun skippedWithoutAReasonThenTheStepStands() {
        begin()
        bench.touch(R.id.skip)
        bench.touch(R.id.skip)
        assertEquals(0, state.marked.toInt())
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.said))
        bench.type(R.id.reason, "done by the yard")
        bench.touch(R.id.skip)
        assertEquals(listOf("done by the yard"), state.skipped)
    }

    @Test
    fun processEndsInTheMiddleThenTheWorkGoesOnAtItsStep() {
        begin()
        repeat(5) { bench.stepDone() }
        val title = state.steps[5].title.en
        bench.die()
        bench.settle()
        assertEquals(5, state.marked.toInt())
        assertTrue(bench.texts(), title in bench.texts())
        bench.touch(R.id.take_back)
        assertEquals(4, state.marked.toInt())
    }

    @Test
    fun wholeWorkDoneThenTheOldLifeEndsAndTheNewOneBegins() {
        val pump = begin()
        val steps = state.steps
        var photographed = 0
        for (step in steps) {
            if (step.photo && photographed == 0) {
                bench.touch(R.id.photograph)
                bench.cameraTakes(Photos.demo("paste"))
                photographed = 1
            }
            bench.stepDone()
        }
        bench.picture("change_end")
        bench.type(R.id.total, "9050")
        bench.touch(bench.all().first { it.tag == "A.WORN" })
        bench.touch(R.id.save)
        val entries = bench.book { it.effective(pump) }.map { it.entry.body }
        val work = entries.filterIsInstance<EntryBody.ChangedOut>().single()
        assertEquals(steps.size.toULong(), work.stepsDone)
        assertEquals(listOf(Photos.sha256(Photos.demo("paste"))), work.photos)
        assertEquals(9_050.0, entries.filterIsInstance<EntryBody.Removed>().single().removed.pumpM3!!, 0.0)
        assertEquals(1, entries.filterIsInstance<EntryBody.Fitted>().size)
        assertNull("the draft is gone", bench.app.trail.draft(Place("change", pump)).textOrNull("document"))
        println("change-out of one cup, ${steps.size} steps: ${bench.touches} touches")
    }
}

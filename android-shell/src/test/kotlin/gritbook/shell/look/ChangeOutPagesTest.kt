package gritbook.shell.look

import android.view.View
import gritbook.core.BoxFluid
import gritbook.core.SealVariant
import gritbook.core.SpeedControl
import gritbook.core.TestSwitches
import gritbook.core.changeOutState
import gritbook.shell.Bench
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.spec
import gritbook.shell.stepDone
import org.junit.Assert.assertEquals
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode

/** Every step of a change-out as its page, for pumps of unlike build: fit to be read, its key under the thumb, a picture of each. */
@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class ChangeOutPagesTest {
    @get:Rule
    val bench = Bench()

    private fun walk(language: String, landscape: Boolean, night: Boolean, font: Float, oil: Boolean) {
        phone(language, landscape, night, font)
        bench.start()
        val usual = spec("Otter", if (oil) SealVariant.O_RING else SealVariant.GUIDE_BAND)
        val made = if (oil) usual.copy(fluid = BoxFluid.OIL, testSwitches = TestSwitches.ONE, speedControl = SpeedControl.ELECTRIC) else usual.copy(testSwitches = TestSwitches.TWO)
        val pump = bench.book { it.addPump(made, Clock.now()) }
        bench.activity.go(Place("change", pump))
        bench.settle()
        bench.touch(R.id.cup_a)
        val wrong = ArrayList<String>()
        fun look(name: String) {
            bench.layOut()
            bench.settle()
            bench.layOut()
            val root = bench.activity.findViewById<View>(R.id.ground)
            // Drawn as it is met: the look at its keys scrolls it.
            keep(draw(root), "change-$name-${bench.activity.variant()}")
            wrong += (faults(root) + keysOutOfSight(root)).map { "$name: $it" }
        }
        val steps = changeOutState(bench.screen.draft.text("document")).steps
        assertTrue("${steps.size} steps", steps.size > 15)
        for ((at, step) in steps.withIndex()) {
            val title = step.title.run { if (language == "es") es else en }
            assertTrue("$title in\n${bench.texts()}", title in bench.texts())
            step.caution?.let { caution ->
                val words = caution.text.run { if (language == "es") es else en }
                assertTrue("$words in\n${bench.texts()}", bench.all().any { (it.contentDescription ?: "").contains(words) || (it as? android.widget.TextView)?.text?.contains(words) == true })
            }
            if (language == "es") assertTrue(bench.texts(), "common practice" !in bench.texts())
            look("%02d".format(at + 1))
            bench.stepDone()
        }
        look("end")
        assertEquals("", wrong.joinToString("\n"))
    }

    @Test
    fun english_upright() = walk("en", landscape = false, night = false, font = 1f, oil = false)

    @Test
    fun spanish_upright_at_200_percent() = walk("es", landscape = false, night = false, font = 2f, oil = true)

    @Test
    fun spanish_on_its_side_at_night() = walk("es", landscape = true, night = true, font = 1f, oil = true)

    @Test
    fun english_on_its_side_at_200_percent() = walk("en", landscape = true, night = true, font = 2f, oil = false)
}

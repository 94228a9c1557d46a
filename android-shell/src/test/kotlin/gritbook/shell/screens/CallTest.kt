package gritbook.shell.screens

import gritbook.core.Cup
import gritbook.core.EntryBody
import gritbook.core.Part
import gritbook.core.PartFitted
import gritbook.core.PourMade
import gritbook.shell.Bench
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.pump
import gritbook.shell.thumb
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotEquals
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config

@RunWith(RobolectricTestRunner::class)
class CallTest {
    @get:Rule
    val bench = Bench()

    private fun withCups(): String {
        bench.start()
        val pump = bench.pump("Otter", 8_000.0)
        bench.book { book ->
            Cup.entries.forEach { book.fitted(pump, PartFitted(Part.CUP, it, 8_000.0, false, null), Clock.now()) }
            book.poured(pump, PourMade(null, 10_500.0, null, null), Clock.now())
        }
        return pump
    }

    private fun open(pump: String) {
        bench.activity.go(Place("call", pump))
        bench.settle()
    }

    private fun calls(pump: String) = bench.book { it.effective(pump) }.mapNotNull { it.entry.body as? EntryBody.Called }

    @Test
    fun pumpWithCupsThenTheCallStandsWithItsReasonsAndIsRecorded() {
        val pump = withCups()
        open(pump)
        bench.picture("call")
        assertTrue(bench.texts(), bench.find<android.widget.TextView>(R.id.headline).text.isNotEmpty() && "2500" in bench.texts())
        bench.touch(R.id.save)
        val call = calls(pump).single()
        assertTrue(call.answerJson, "gritbook.call/1" in call.answerJson)
        assertNull(call.overruledTo)
    }

    @Test
    fun boxNobodyLookedIntoThenTheAnswerSaysWhatALookLeadsToAndItsKeyOpensTheCheck() {
        val pump = withCups()
        open(pump)
        assertTrue(bench.texts(), "Lock out, drain the box and look first. Paste only" in bench.texts())
        bench.touch(R.id.check)
        assertEquals(Place("check", pump), bench.screen.at)
        bench.picture("check_first")
        assertTrue(bench.texts(), "locked out" in bench.texts())
    }

    @Test
    fun longerPourPulledThenTheChanceGetsWorse() {
        val pump = withCups()
        open(pump)
        val before = bench.find<android.widget.TextView>(R.id.chance).text.toString()
        bench.drag(R.id.tape, -0.45f)
        assertNotEquals(before, bench.find<android.widget.TextView>(R.id.chance).text.toString())
        val json = bench.screen.draft.json
        assertTrue("$json", json.getDouble("pour_m3") > 60)
    }

    @Test
    fun overruledWithoutAReasonThenNothingIsRecorded() {
        val pump = withCups()
        open(pump)
        bench.touch(R.id.overrule)
        bench.touch(bench.all().first { it.tag == "CHANGE_FIRST" })
        bench.touch(R.id.save)
        assertEquals(0, calls(pump).size)
        bench.type(R.id.reason, "the owner wants new ones")
        bench.touch(R.id.save)
        val call = calls(pump).single()
        assertEquals("change_first", call.overruledTo)
        assertEquals("the owner wants new ones", call.overruleReason)
    }

    @Test
    fun processEndsWhileOverrulingThenTheWordsAreBack() {
        val pump = withCups()
        open(pump)
        bench.touch(R.id.overrule)
        bench.type(R.id.reason, "heard it knock")
        bench.die()
        bench.settle()
        assertEquals("heard it knock", bench.find<android.widget.EditText>(R.id.reason).text.toString())
        assertEquals(pump, bench.screen.at.about)
    }

    @Test
    fun cupGradedSpentByThumbThenTheCallIsAHardStop() {
        val pump = withCups()
        bench.activity.go(Place("grade", "alone:$pump"))
        bench.settle()
        bench.picture("grade")
        bench.thumb(4)
        bench.picture("grade_spent")
        bench.touch(R.id.back)
        open(pump)
        bench.picture("call_stop")
        assertTrue(bench.texts(), "Change first" in bench.texts())
        assertTrue(bench.texts(), "no chance outvotes" in bench.texts())
    }

    @Test
    fun gradeSetAndTakenBackThenNothingIsSaved() {
        val pump = withCups()
        bench.activity.go(Place("grade", "alone:$pump"))
        bench.settle()
        bench.thumb(3)
        bench.touch(R.id.thumb_undo)
        bench.touch(R.id.back)
        assertEquals(emptyList<Any>(), bench.book { it.pumpSummary(pump) }.grades)
    }

    @Test
    @Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun phoneInSpanishThenTheCallSpeaksSpanish() {
        val pump = withCups()
        open(pump)
        assertTrue(bench.texts(), Regex("Cuele|cambie|vigile|Primero").containsMatchIn(bench.find<android.widget.TextView>(R.id.headline).text))
    }

    @Test
    fun cupsInThenHomeSaysWithinHowMuchConcreteTheyAreDue() {
        withCups()
        bench.activity.home()
        bench.settle()
        assertTrue(bench.texts(), Regex("Change within \\d+").containsMatchIn(bench.texts()))
    }
}

package gritbook.shell.look

import gritbook.shell.look.photo.HandOutline
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertTrue
import org.junit.Test
import kotlin.math.cos
import kotlin.math.sin

/** What a hand draws round something. */
class HandOutlineTest {
    /** A turn and [over] of another one; the second turn [out] px further out. */
    private fun round(over: Double, out: Float = 0f): List<Float> = (0..((1 + over) * 60).toInt()).flatMap { step ->
        val angle = 2 * Math.PI * step / 60
        val radius = 100 + if (step > 60) out else 0f
        listOf(200 + radius * cos(angle).toFloat(), 200 + radius * sin(angle).toFloat())
    }

    @Test
    fun stoppedBeforeItsBeginningThenAsItIs() {
        val line = round(-0.1)
        assertEquals(line, HandOutline.closed(line))
    }

    @Test
    fun runPastItsBeginningThenTheEndIsCut() {
        for (out in listOf(0f, 4f, -4f)) {
            val line = round(0.15, out)
            val closed = HandOutline.closed(line)
            assertFalse("$out", HandOutline.crosses(closed))
            assertTrue("$out: ${closed.size} of ${line.size}", closed.size in 2 * 52..2 * 62)
        }
    }

    @Test
    fun figureOfEightThenAsItIsForTheBookToRefuse() {
        val eight = (0 until 60).flatMap { step -> (2 * Math.PI * step / 60).let { listOf((200 + 100 * sin(it)).toFloat(), (200 + 100 * sin(2 * it)).toFloat()) } }
        assertTrue(HandOutline.crosses(eight))
        assertEquals(eight, HandOutline.closed(eight))
    }
}

package gritbook.shell.look

import android.graphics.Bitmap
import android.graphics.Canvas
import android.graphics.Color
import gritbook.core.DebrisReading
import gritbook.core.LevelCode
import gritbook.core.ReadingOptions
import gritbook.shell.Photos
import gritbook.shell.R
import org.junit.Assert.assertArrayEquals
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertNotEquals
import org.junit.Assert.assertThrows
import org.junit.Assert.assertTrue
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode

@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class SignsTest {
    @Test
    fun ring_of_each_grade_then_0_7_19_37_and_61_dots_inside_its_circle() {
        for ((grade, count) in listOf(0 to 0, 1 to 7, 2 to 19, 3 to 37, 4 to 61)) {
            assertEquals(count, GritRing.dots(grade).size / 2)
            assertTrue("grade $grade reaches ${GritRing.reach(grade)}", GritRing.reach(grade) < 0.96f)
        }
    }

    @Test
    fun graver_grade_then_more_ink_at_4_mm_as_at_60() {
        val context = phone()
        for (mm in listOf(4f, 60f)) {
            val dark = (0..4).map { grade ->
                val side = (Look(context).mm(mm) / context.resources.displayMetrics.density).toInt()
                inked(draw(layOut(GritRingView(context).show(grade), side, side)))
            }
            assertEquals("at $mm mm: $dark", dark.sorted(), dark)
            assertTrue("at $mm mm: $dark", dark.zipWithNext().all { (mild, grave) -> grave > mild + 0.01 })
        }
    }

    @Test
    fun measured_grade_then_a_corner_mark_and_word() {
        val context = phone()
        val eye = GritRingView(context).show(2)
        val measured = GritRingView(context).show(2, measured = true)
        assertEquals("Grade 2, worn, by eye", eye.contentDescription)
        assertEquals("Grade 2, worn, measured", measured.contentDescription)
        layOut(eye, 60, 60)
        layOut(measured, 60, 60)
        val corner = { picture: Bitmap -> picture.getPixel(picture.width - 4, 4) }
        assertNotEquals(corner(draw(eye)), corner(draw(measured)))
        assertEquals(Look(context).ink, corner(draw(measured)))
    }

    @Test
    fun ring_in_spanish_then_it_speaks_spanish() {
        assertEquals("Grado 3, pasa material, a ojo", GritRingView(phone("es")).show(3).contentDescription)
        assertEquals("todavía sin grado", GritRingView(phone("es")).show(null).contentDescription)
    }

    @Test
    fun grade_five_is_refused() {
        assertThrows(IllegalArgumentException::class.java) { GritRingView(phone()).show(5) }
    }

    @Test
    fun textures_by_eye_then_the_same_every_time_and_no_two_alike() {
        for (level in LevelCode.entries) {
            assertArrayEquals(LevelStrip.byEye(level).discs, LevelStrip.byEye(level).discs, 0f)
            val strip = LevelStrip.byEye(level)
            for (at in strip.discs.indices step 3) {
                val (x, y, radius) = strip.discs.slice(at..at + 2)
                assertTrue(x - radius >= -1e-4 && x + radius <= strip.width + 1e-4 && y - radius >= -1e-4 && y + radius <= strip.height + 1e-4)
            }
        }
        val context = phone()
        val pictures = LevelCode.entries.map { draw(layOut(LevelStripView(context).showByEye(it, it.name), 328)) }
        for (one in pictures.indices) for (other in one + 1 until pictures.size) {
            assertTrue(difference(pictures[one], pictures[other]) > 0.005)
        }
    }

    @Test
    fun reading_then_its_grains_stand_in_the_strip_at_true_scale() {
        val grains = listOf(LevelStrip.Disc(10.0, 32.0, 4.0), LevelStrip.Disc(30.0, 31.0, 1.0), LevelStrip.Disc(50.0, 5.0, 0.5))
        val strip = LevelStrip.of(60.0, 60.0, grains)
        assertTrue(strip.toScale)
        // The fullest strip holds the two grains near y = 31, not the small one far from them.
        assertEquals(2, strip.discs.size / 3)
        assertEquals(2.0f, strip.discs[2], 1e-6f)
        val context = phone()
        val picture = draw(layOut(LevelStripView(context).show(strip, "Sand"), 300))
        // 4 mm of a 60 mm window in 600 px: 40 px across.
        val y = (strip.discs[1] * picture.width / 60).toInt()
        val dark = (0 until picture.width).count { it < 200 && picture.getPixel(it, y) == Look(context).ink }
        assertEquals(40.0, dark.toDouble(), 2.0)
    }

    @Test
    fun heap_read_as_a_whole_then_its_levels_texture_without_a_scale_or_an_eye() {
        val reading = DebrisReading.ofPhoto(Photos.demo("sand").path, ReadingOptions()).facts()
        val context = phone()
        assertEquals(context.getString(R.string.strip_says, "Sand"), LevelStripView(context).show(reading, "Sand").contentDescription)
        // Such a reading has a gradation, and no grain was told apart.
        val heap = reading.copy(grains = emptyList())
        val strip = LevelStrip.of(heap)
        assertFalse(strip.toScale || strip.eye)
        assertArrayEquals(LevelStrip.byEye(LevelCode.SAND).discs, strip.discs, 0f)
        assertEquals("Sand", LevelStripView(context).show(heap, "Sand").contentDescription)
    }

    @Test
    fun chance_then_as_many_squares_filled_as_percent() {
        val context = phone()
        val view = CallChanceView(context).show(0.87, 0.71, 0.95)
        assertEquals(87, view.filled)
        assertEquals("87 of 100 such pours go through, between 71 and 95", view.contentDescription)
        assertThrows(IllegalArgumentException::class.java) { CallChanceView(context).show(1.2, 0.0, 1.0) }
        assertThrows(IllegalArgumentException::class.java) { CallChanceView(context).show(0.5, 0.9, 0.1) }
        val more = inked(draw(layOut(CallChanceView(context).show(0.9, 0.9, 0.9), 328)))
        val less = inked(draw(layOut(CallChanceView(context).show(0.1, 0.1, 0.1), 328)))
        assertTrue("$more against $less", more > less * 1.5)
    }

    @Test
    fun slip_says_how_many_wait_and_how_many_are_parked() {
        val context = phone()
        assertEquals("Nothing waits", OutboxSlipView.says(context, 0, 0))
        assertEquals("1 waits to be sent", OutboxSlipView.says(context, 1, 0))
        assertEquals("12 wait to be sent, 1 parked", OutboxSlipView.says(context, 12, 1))
        assertEquals("1 por enviar, 2 apartadas", OutboxSlipView.says(phone("es"), 1, 2))
    }

    @Test
    fun parked_slip_lies_crosswise() {
        val context = phone()
        val only = draw(layOut(OutboxSlipView(context).show(3, 0), 80, 80))
        val parked = draw(layOut(OutboxSlipView(context).show(3, 1), 80, 80))
        // Straight above the slip: paper alone, or the edge of the one that lies across.
        val above = { picture: Bitmap -> (0 until picture.height / 3).any { Color.red(picture.getPixel(picture.width / 2, it)) < 128 && it < 30 } }
        assertTrue(!above(only) && above(parked))
    }

    @Test
    fun pictures_of_the_signs_for_judging() {
        for (night in listOf(false, true)) {
            val context = phone(night = night)
            val sheet = Bitmap.createBitmap(740, 1320, Bitmap.Config.ARGB_8888)
            val canvas = Canvas(sheet)
            canvas.drawColor(Look(context).paper)
            var y = 20f
            for (side in listOf(25, 50, 66)) {
                for (grade in 0..4) canvas.drawBitmap(draw(layOut(GritRingView(context).show(grade, grade % 2 == 1), side, side)), 20f + grade * 140, y, null)
                y += side * 2 + 20f
            }
            for (level in LevelCode.entries) {
                canvas.drawBitmap(draw(layOut(LevelStripView(context).showByEye(level, level.name), 340)), 20f, y, null)
                y += 120f
            }
            for ((chance, low, high) in listOf(Triple(0.96, 0.9, 0.99), Triple(0.62, 0.4, 0.8))) {
                canvas.drawBitmap(draw(layOut(CallChanceView(context).show(chance, low, high), 340)), 20f, y, null)
                y += 160f
            }
            for ((at, counts) in listOf(0 to 0, 1 to 0, 3 to 0, 12 to 2, 0 to 3, 1234 to 1).withIndex()) {
                canvas.drawBitmap(draw(layOut(OutboxSlipView(context).show(counts.first, counts.second), 56, 56)), 20f + at * 118, y, null)
            }
            keep(sheet, "signs-${context.variant()}")
        }
    }
}

package gritbook.shell.look

import android.graphics.Bitmap
import android.graphics.Canvas
import gritbook.core.Part
import gritbook.shell.look.sketch.Pen
import gritbook.shell.look.sketch.Sketch
import gritbook.shell.look.sketch.sketchOf
import gritbook.shell.look.sketch.toSvg
import org.junit.Assert.assertEquals
import org.junit.Assert.assertTrue
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode
import java.io.StringReader
import javax.xml.parsers.DocumentBuilderFactory
import org.xml.sax.InputSource

@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class PartDrawingTest {
    private fun pictureOf(part: Part, grade: Int, context: android.content.Context, width: Int = 240): Bitmap =
        draw(layOut(PartDrawing(context).show(part, grade), width))

    @Test
    fun every_part_looks_different_at_every_grade() {
        val context = phone()
        for (part in Part.entries) {
            val pictures = (0..4).map { pictureOf(part, it, context) }
            for (one in 0..4) for (other in one + 1..4) {
                val share = difference(pictures[one], pictures[other])
                assertTrue("$part: grades $one and $other differ by ${share * 100} % of the pixels only", share > 0.004)
            }
        }
    }

    @Test
    fun every_mark_stays_on_its_paper() {
        for (part in Part.entries) for (grade in 0..4) {
            val sketch = sketchOf(part, grade)
            assertTrue(sketch.marks.isNotEmpty())
            for (mark in sketch.marks) for (at in mark.points.indices step 2) {
                assertTrue("$part $grade: x ${mark.points[at]}", mark.points[at] in 0f..Sketch.WIDTH)
                assertTrue("$part $grade: y ${mark.points[at + 1]}", mark.points[at + 1] in 0f..Sketch.HEIGHT)
            }
            for (dot in sketch.dots) assertTrue("$part $grade", dot.x - dot.radius >= 0 && dot.x + dot.radius <= Sketch.WIDTH)
        }
    }

    @Test
    fun what_has_gone_is_dashed_on_seals_from_worn_on_and_never_before() {
        for (part in listOf(Part.CUP, Part.GUIDE_BAND, Part.O_RING)) for (grade in 0..4) {
            val gone = sketchOf(part, grade).marks.any { it.pen == Pen.GONE }
            assertEquals("$part $grade", grade >= 2, gone)
        }
    }

    @Test
    fun hatching_stays_inside_the_body_it_fills() {
        // The wall of a cup's drawing is a box of which all four sides are known.
        val fine = sketchOf(Part.CUP, 0).marks.filter { it.pen == Pen.FINE && it.points[1] < 18f }
        assertTrue(fine.size > 10)
        for (mark in fine) for (at in mark.points.indices step 2) {
            assertTrue(mark.points[at] in 2.99f..117.01f && mark.points[at + 1] in 4.99f..18.01f)
        }
    }

    @Test
    fun the_same_drawing_is_written_as_svg_with_every_mark() {
        for (part in Part.entries) for (grade in 0..4) {
            val sketch = sketchOf(part, grade)
            val svg = DocumentBuilderFactory.newInstance().newDocumentBuilder().parse(InputSource(StringReader(sketch.toSvg())))
            assertEquals(sketch.marks.size, svg.getElementsByTagName("path").length)
            assertEquals(sketch.dots.size, svg.getElementsByTagName("circle").length)
        }
    }

    @Test
    fun pictures_of_all_parts_for_judging() {
        for (night in listOf(false, true)) {
            val context = phone(night = night)
            val sheet = Bitmap.createBitmap(5 * 260, Part.entries.size * 200, Bitmap.Config.ARGB_8888)
            val canvas = Canvas(sheet)
            canvas.drawColor(Look(context).paper)
            for ((row, part) in Part.entries.withIndex()) for (grade in 0..4) {
                val picture = pictureOf(part, grade, context, 120)
                assertTrue("$part $grade is nearly empty", inked(picture) > 0.02)
                canvas.drawBitmap(picture, grade * 260f + 10, row * 200f + 10, null)
            }
            keep(sheet, "parts-${context.variant()}")
        }
    }
}

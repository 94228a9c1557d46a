package gritbook.shell.look.sketch

import kotlin.math.cos
import kotlin.math.sin

/** The pump locked out: the main switch at nought with a padlock and its tag, the gauge at zero. */
fun lockSketch(): Sketch = SketchBook().apply {
    // The switch: a plate with a turning handle that stands upright at nought.
    box(Pen.BODY, 5, 6, 57, 84)
    points(Pen.BODY, arc(31f, 36f, 18f, 18f, 0f, 360f, 40), closed = true)
    points(Pen.INK, arc(31f, 12f, 2.2f, 2.8f, 0f, 360f, 16), closed = true)
    line(Pen.INK, 53, 33, 53, 39)
    shape(Pen.BODY, 27, 20, 35, 20, 35, 55, 27, 55)
    line(Pen.FINE, 31, 23, 31, 32)
    // The padlock's bow goes through the handle.
    points(Pen.INK, arc(31f, 58f, 5.5f, 8f, 180f, 360f, 16) + listOf(36.5f to 64f))
    line(Pen.INK, 25.5, 58, 25.5, 64)
    box(Pen.SOLID, 22, 63, 40, 79)
    // The tag, tied to the bow.
    line(Pen.FINE, 36.5, 60, 52, 62)
    shape(Pen.BODY, 48, 66, 53, 59, 90, 63, 87.5, 86, 46, 81.5)
    points(Pen.INK, arc(53.4f, 64.4f, 1.5f, 1.5f, 0f, 360f, 12), closed = true)
    line(Pen.FINE, 60, 67.5, 84, 70)
    line(Pen.FINE, 54, 73, 83, 76)
    line(Pen.FINE, 53.5, 78, 74, 80)
    // The gauge: its hand on the first line.
    box(Pen.BODY, 91, 48, 99, 60)
    points(Pen.BODY, arc(95f, 28f, 21f, 21f, 0f, 360f, 48), closed = true)
    for (step in 0..8) {
        val angle = Math.toRadians(135.0 + 270.0 * step / 8)
        val (x, y) = cos(angle).toFloat() to sin(angle).toFloat()
        line(Pen.INK, 95 + 15f * x, 28 + 15f * y, 95 + 18.5f * x, 28 + 18.5f * y)
    }
    val zero = Math.toRadians(135.0)
    line(Pen.INK, 95, 28, 95 + 13 * cos(zero).toFloat(), 28 + 13 * sin(zero).toFloat())
    dot(95, 28, 2)
}.sketch()

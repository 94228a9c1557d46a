package gritbook.shell.look.sketch

import kotlin.math.abs

/** The piston plate in section under a straightedge. */
internal fun plateSketch(grade: Int): Sketch = SketchBook().apply {
    val low = floatArrayOf(0f, 0f, 3.5f, 8f, 15f)[grade]
    val top = 40f
    val bottom = 68f
    // The face between its rims, low in the centre.
    fun face(x: Float): Float {
        val share = abs(x - 60f) / 48f
        return top + low * (1f - share * share).coerceAtLeast(0f)
    }
    val oval = if (grade >= 3) 2.5f else 0f
    fun piece(from: Float, to: Float) {
        val upper = List(13) { (from + (to - from) * it / 12).let { x -> x to face(x) } }
        val bend = if (grade == 4) 4f else 0f
        val lower = List(13) { (to + (from - to) * it / 12).let { x -> x to bottom + bend * (1f - abs(x - 60f) / 48f) } }
        cut(*(upper + lower).flatMap { listOf(it.first, it.second) }.toTypedArray())
    }
    // Left rim, hole, web, hole, right rim.
    piece(12f, 26f - oval)
    piece(36f + oval, 84f - oval)
    piece(94f + oval, 108f)
    line(Pen.INK, 26 - oval, face(26f) , 36 + oval, face(36f))
    line(Pen.INK, 84 - oval, face(84f), 94 + oval, face(94f))
    line(Pen.INK, 26 - oval, bottom, 36 + oval, bottom)
    line(Pen.INK, 84 - oval, bottom, 94 + oval, bottom)
    if (grade >= 3) for (x in listOf(26, 36, 84, 94)) line(Pen.GONE, x, face(x.toFloat()) + 1, x, bottom - 1)
    for (x in listOf(31, 89)) {
        line(Pen.FINE, x, 36, x, 47)
        line(Pen.FINE, x, 50, x, 53)
        line(Pen.FINE, x, 56, x, 72)
    }
    // The straightedge, bevelled as a real one is.
    box(Pen.BODY, 5, 20, 115, 32)
    shape(Pen.BODY, 5, 32, 115, 32, 115, 35, 112, 39.4, 8, 39.4, 5, 35)
    for (x in 10..110 step 10) line(Pen.FINE, x, 20, x, if (x % 50 == 10) 27 else 24)
    when (grade) {
        1 -> {
            // Rust and paste on the face.
            for (x in listOf(15f, 42f, 55f, 70f, 99f)) {
                points(Pen.SOLID, arc(x + 3, 40.4f, 4.5f, 2.6f, 0f, 180f, 8), closed = true)
            }
            grains(0.9f, 49, 43, 62, 42.6, 66, 44, 79, 43.4, 104, 44)
        }
        2 -> {
            line(Pen.INK, 18, 40, 19.5, 42.5, 21, 40)
            line(Pen.INK, 98.5, 40, 100, 42.5, 101.5, 40)
            line(Pen.GONE, 14, 40, 106, 40)
        }
        3 -> gap(top, face(60f))
        4 -> {
            gap(top, face(60f))
            line(Pen.INK, 52, face(52f), 55, 60, 51, 63, 56, 67, 53, 72)
            line(Pen.INK, 53, face(53f), 56.5, 60, 52.5, 63, 57.5, 67, 54.5, 72)
        }
    }
}.sketch()

/** How far it is low, between two arrows. */
private fun SketchBook.gap(from: Float, to: Float) {
    line(Pen.GONE, 14, from, 106, from)
    line(Pen.INK, 64, from + 0.8f, 64, to - 0.8f)
    if (to - from > 9) {
        line(Pen.INK, 62.2, from + 3, 64, from + 0.8f, 65.8, from + 3)
        line(Pen.INK, 62.2, to - 3, 64, to - 0.8f, 65.8, to - 3)
    }
}

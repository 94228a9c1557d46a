package gritbook.shell.look.sketch

import gritbook.core.Cause

/**
 * One side of the pump cut along its length, concrete on the left, box in the middle, drive cylinder on the right: what a cause does
 * is drawn where it happens, and a ring or arrows show where to look.
 */
internal fun placeSketch(cause: Cause): Sketch = SketchBook().apply {
    drive()
    cylinder(cause)
    box(cause)
    piston(cause)
    when (cause) {
        Cause.SOUND -> Unit
        Cause.WORN_CUPS -> listOf(LIP_TOP, LIP_LOW).forEach { ring(LIP_X, it, 9f) }
        Cause.WORN_BORE -> {
            line(Pen.HERE, 6, WALL_TOP + 1, 58, WALL_TOP + 1)
            line(Pen.HERE, 6, WALL_LOW - 1, 58, WALL_LOW - 1)
            arrow(17f, 42f, WALL_TOP + 4)
            arrow(17f, 48f, WALL_LOW - 4)
        }
        Cause.BAD_FIT -> ring(53f, 28f, 10f)
        Cause.ROD_SEAL -> ring(96f, 45f, 13f)
        Cause.DAMAGE -> ring(38f, 61f, 12f)
    }
}.sketch()

private const val WALL_TOP = 22f
private const val WALL_LOW = 68f
private const val LIP_X = 37f
private const val LIP_TOP = 26f
private const val LIP_LOW = 64f

/** The concrete cylinder with its concrete. */
private fun SketchBook.cylinder(cause: Cause) {
    cut(4, 12, 60, 12, 60, WALL_TOP, 4, WALL_TOP)
    cut(4, WALL_LOW, 60, WALL_LOW, 60, 78, 4, 78)
    // Stones and sand of the concrete.
    for ((at, place) in listOf(9f to 33f, 26f to 36f, 10f to 58f, 27f to 47f, 8f to 46f, 25f to 57f).withIndex()) {
        val (x, y) = place
        points(Pen.FINE, arc(x, y, 2.6f + at % 2, 2f + at % 3 * 0.4f, 0f, 360f, 9), closed = true)
    }
    grains(0.7f, 13, 37, 22, 42, 22, 32, 7, 52, 13, 52, 22, 52, 12, 63, 22, 62, 27, 30, 6, 39, 13, 44)
    if (cause == Cause.WORN_BORE) {
        // Scored along the stroke, above and below, where the cup runs.
        for (step in 0..6) {
            line(Pen.INK, 8 + step * 7, WALL_TOP + 3.4f + step % 2, 13 + step * 7, WALL_TOP + 3.4f + step % 2)
            line(Pen.INK, 7 + step * 7, WALL_LOW - 3.4f - step % 2, 12 + step * 7, WALL_LOW - 3.4f - step % 2)
        }
    }
    if (cause == Cause.DAMAGE) for (step in 0..2) line(Pen.INK, 8, WALL_LOW - 2 - step * 2.2f, 56 - step * 6, WALL_LOW - 2 - step * 2.2f)
}

/** The cup on its plate, the band behind it, the rod that goes through the box. */
private fun SketchBook.piston(cause: Cause) {
    box(Pen.BODY, 58, 42, 110, 48)
    box(Pen.BODY, 44, 28, 48, 62)
    val (top, low) = when (cause) {
        // Worn round and short: the lip no longer reaches the wall.
        Cause.WORN_CUPS -> listOf(40f to 29f, 37f to 28f, 35f to 31f, 38f to 34f) to listOf(38f to 56f, 35f to 59f, 37f to 62f, 40f to 61f)
        Cause.DAMAGE -> listOf(40f to 23f, 29f to 22.5f, 38f to 34f) to listOf(38f to 56f, 34f to 61f, 37f to 61f, 36f to 64f, 40f to 64f, 39f to 67f, 41f to 67f)
        else -> listOf(40f to 23f, 29f to 22.5f, 38f to 34f) to listOf(38f to 56f, 29f to 67.5f, 40f to 67f)
    }
    val worn = cause == Cause.WORN_CUPS
    rubber(listOf(44f to (if (worn) 27f else 23f)) + top + low + listOf(44f to (if (worn) 63f else 67f)))
    // The band's carrier, and the band in its groove: square, or tilted where it went in badly.
    box(Pen.BODY, 48, 30, 60, 60)
    if (cause == Cause.BAD_FIT) {
        shape(Pen.SOLID, 48.5, 29, 57.5, 22.8, 60, 26, 51, 32)
    } else {
        box(Pen.SOLID, 50, WALL_TOP + 0.8f, 58, 30)
    }
    box(Pen.SOLID, 50, 60, 58, WALL_LOW - 0.8f)
}

/** The flush box with its liquid and what lies in it. */
private fun SketchBook.box(cause: Cause) {
    line(Pen.INK, 60, 8, 60, 12)
    line(Pen.INK, 60, 78, 60, 88, 90, 88, 90, 64)
    line(Pen.INK, 90, 8, 90, 26)
    for (step in 0..4) points(Pen.FINE, arc(64.5f + step * 5.5f, 15.5f, 2.7f, 1.3f, 180f, 0f, 8))
    when (cause) {
        Cause.SOUND -> grains(0.5f, 66, 86.4, 72, 86.8, 78, 86.5, 84, 86.8)
        Cause.ROD_SEAL -> {
            // A film of oil on the liquid, and drops on their way to it.
            points(Pen.SOLID, arc(80f, 15.5f, 8f, 2.1f, 0f, 360f, 20), closed = true)
            points(Pen.SOLID, arc(67f, 15.8f, 3.6f, 1.4f, 0f, 360f, 16), closed = true)
            for ((x, y) in listOf(86f to 37f, 84f to 30f, 82f to 22.5f)) points(Pen.SOLID, arc(x, y, 1.5f, 2.1f, 0f, 360f, 12), closed = true)
        }
        else -> {
            grains(1f, 63, 86.5, 66, 86.8, 69, 86.4, 72, 86.8, 75, 86.3, 78, 86.7, 81, 86.4, 84, 86.8, 87, 86.5, 67, 84.4, 71, 84.6, 74, 84, 79, 84.4, 83, 84.6, 73, 82)
            grains(0.9f, 64, 70, 68, 74, 66, 79, 72, 77, 63, 27, 67, 32, 65, 38)
            if (cause == Cause.DAMAGE) {
                lump(70f, 82f, 3.6f)
                lump(81f, 83f, 3f)
            }
        }
    }
}

/** The drive cylinder with the seal that its rod runs in. */
private fun SketchBook.drive() {
    cut(90, 26, 117, 26, 117, 34, 98, 34, 98, 42, 90, 42)
    cut(90, 48, 98, 48, 98, 56, 117, 56, 117, 64, 90, 64)
    box(Pen.SOLID, 92.5, 38.4, 96, 42)
    box(Pen.SOLID, 92.5, 48, 96, 51.6)
    box(Pen.BODY, 110, 34, 115, 56)
}

private fun SketchBook.ring(x: Float, y: Float, radius: Float) = points(Pen.HERE, arc(x, y, radius, radius, 0f, 360f, 36), closed = true)

/** An arrow up or down to [to]. */
private fun SketchBook.arrow(x: Float, from: Float, to: Float) {
    val back = if (to < from) 5f else -5f
    line(Pen.HERE, x, from, x, to)
    line(Pen.HERE, x - 4, to + back, x, to, x + 4, to + back)
}

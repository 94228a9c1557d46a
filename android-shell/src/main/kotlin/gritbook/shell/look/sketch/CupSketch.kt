package gritbook.shell.look.sketch

/** The chrome wall that cup, band and O-ring run on, cut along the stroke; its face is at y = [WALL]. */
internal const val WALL = 18f

internal fun SketchBook.wall() = cut(3, 5, 117, 5, 117, WALL, 3, WALL, falling = true)

/** The cup, half of it in section: plate to the left, concrete to the right, its lip on the wall. */
internal fun cupSketch(grade: Int): Sketch = SketchBook().apply {
    wall()
    cut(24, 27, 40, 27, 40, 86, 24, 86)
    // As new: a heel on the wall behind, a lip that runs out to a sharp tip.
    val asNew = listOf(40f to 86f, 40f to 24f, 46f to WALL + 1f, 62f to WALL + 0.6f, 88f to WALL + 0.3f, 74f to 40f, 70f to 48f, 70f to 86f)
    when (grade) {
        0 -> rubber(asNew)
        1 -> {
            rubber(listOf(40f to 86f, 40f to 24f, 46f to WALL + 1f, 62f to WALL + 0.6f, 84f to WALL + 0.6f, 85.5f to WALL + 3.5f, 74f to 40f, 70f to 48f, 70f to 86f))
            // Shiny where it runs.
            line(Pen.INK, 60, WALL + 2.6f, 83, WALL + 2.6f)
        }
        2 -> {
            points(Pen.GONE, asNew, closed = true)
            rubber(listOf(40f to 86f, 40f to 24f, 46f to WALL + 1f, 60f to WALL + 2f, 72f to WALL + 5.5f) +
                arc(75f, WALL + 9.5f, 4.5f, 4f, -70f, 70f, 10) + listOf(72f to 41f, 70f to 48f, 70f to 86f))
            grains(1.7f, 69.5, 51, 70.6, 56, 69.4, 61.5, 70.4, 67, 69.4, 72.5, 70.4, 78, 71.8, 44.5)
        }
        3 -> {
            points(Pen.GONE, asNew, closed = true)
            rubber(listOf(40f to 86f, 40f to 26f, 46f to WALL + 5f, 54f to WALL + 7f, 58f to WALL + 6f, 61f to WALL + 11f, 65f to WALL + 8f, 68f to WALL + 15f, 72f to WALL + 13f, 73f to 38f, 70f to 47f, 70f to 86f))
            grains(1.7f, 69.5, 53, 70.6, 59, 69.4, 65, 70.4, 71, 69.4, 77)
            // Sand on its way past the lip into the box.
            grains(1.3f, 100, 24, 94, 28, 89, 22, 83, 26, 78, 22, 70, 24, 62, 22, 55, 21.5, 49, 20.8, 42, 21, 34, 22.5, 27, 21, 18, 24, 13, 29, 18, 34, 11, 37)
        }
        else -> {
            points(Pen.GONE, asNew, closed = true)
            rubber(listOf(40f to 86f, 40f to 36f, 44f to 33f, 48f to 39f, 52f to 34f, 56f to 43f, 60f to 38f, 63f to 49f, 67f to 46f, 66f to 58f, 70f to 62f, 70f to 86f))
            // A piece that has come off, and lumps that went by.
            rubber(listOf(98f to 62f, 106f to 58f, 110f to 65f, 103f to 70f))
            lump(87f, 28f, 5.5f)
            lump(70f, 27f, 4.5f)
            lump(52f, 26f, 4.5f)
            lump(31f, 23f, 3.6f)
            lump(14f, 30f, 5.5f)
            lump(10f, 47f, 4.5f)
            grains(1.3f, 99, 24, 79, 35, 62, 23, 43, 22, 22, 22, 18, 40, 16, 56)
        }
    }
    line(Pen.FINE, 3, 88, 22, 88)
    line(Pen.FINE, 26, 88, 30, 88)
    line(Pen.FINE, 34, 88, 86, 88)
    line(Pen.FINE, 90, 88, 94, 88)
    line(Pen.FINE, 98, 88, 117, 88)
}.sketch()

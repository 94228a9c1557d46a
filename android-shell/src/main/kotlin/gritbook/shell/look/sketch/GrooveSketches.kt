package gritbook.shell.look.sketch

private const val FLOOR = 64f

/** The piston's body with the groove that band and O-ring sit in; [top] is its rim, [left] and [right] the groove. */
private fun SketchBook.grooved(top: Float, left: Float, right: Float) =
    cut(8, top, left, top, left, FLOOR, right, FLOOR, right, top, 112, top, 112, 86, 8, 86)

/** The guide band in its groove, the wall above it. */
internal fun bandSketch(grade: Int): Sketch = SketchBook().apply {
    wall()
    val left = 38f
    val right = 82f
    // The body sinks to the wall as the band that carries it goes.
    val rim = when (grade) {
        0, 1 -> 32f
        2 -> 30f
        3 -> 22f
        else -> WALL + 0.5f
    }
    grooved(rim, left, right)
    val asNew = listOf(left + 1.5f to FLOOR - 1f, left + 1.5f to WALL + 0.6f, right - 1.5f to WALL + 0.6f, right - 1.5f to FLOOR - 1f)
    if (grade >= 2) points(Pen.GONE, asNew, closed = true)
    when (grade) {
        0 -> band(asNew)
        1 -> {
            band(listOf(left + 1.5f to FLOOR - 1f, left + 1.5f to WALL + 3f, left + 4f to WALL + 0.8f, right - 4f to WALL + 0.8f, right - 1.5f to WALL + 3f, right - 1.5f to FLOOR - 1f))
            line(Pen.INK, left + 6, WALL + 3.2f, right - 6, WALL + 3.2f)
        }
        2 -> {
            band(listOf(left + 1.5f to FLOOR - 1f, left + 1.5f to WALL + 0.8f, left + 8 to WALL + 0.9f, right - 1.5f to WALL + 14f, right - 1.5f to FLOOR - 1f))
            grains(1.4f, 58, 25, 64, 28, 71, 29.5, 76, 32.5, 67, 33, 60, 31)
        }
        3 -> {
            band(
                listOf(left + 1.5f to FLOOR - 1f, left + 1.5f to 34f) + arc(left + 5f, 31f, 4.5f, 5f, 170f, 350f, 10) +
                    listOf(left + 12 to 36f, left + 15 to 27f, left + 18 to 40f, left + 22 to 29f, left + 25 to 42f, left + 29 to 30f, left + 33 to 39f, right - 6 to 28f, right - 1.5f to 33f, right - 1.5f to FLOOR - 1f),
            )
            grains(1.4f, 46, 22, 56, 22.5, 63, 24, 72, 22, 78, 24)
        }
        else -> {
            band(listOf(left + 1.5f to FLOOR - 1f, left + 1.5f to 46f, left + 8 to 44f, left + 12 to 50f, left + 16 to 46f, left + 17 to 56f, left + 14 to FLOOR - 1f))
            band(listOf(right - 16 to FLOOR - 1f, right - 13 to 54f, right - 9 to 57f, right - 5 to 50f, right - 1.5f to 52f, right - 1.5f to FLOOR - 1f))
            // Steel has run on chrome.
            line(Pen.INK, 10, WALL - 2.5f, 36, WALL - 2.5f)
            line(Pen.INK, 84, WALL - 2.5f, 110, WALL - 2.5f)
            grains(1.4f, 60, 61, 64, 58, 58, 56, 62, 40, 50, 30, 70, 35)
        }
    }
}.sketch()

/** Cut guide band: a denser hatch than steel's. */
private fun SketchBook.band(points: List<Pair<Float, Float>>) {
    val corners = points.flatMap { listOf(it.first, it.second) }
    cut(*corners.toTypedArray(), apart = 2.6f)
}

/** The O-ring in its groove, pressed between floor and wall. */
internal fun oRingSketch(grade: Int): Sketch = SketchBook().apply {
    wall()
    val left = 34f
    val right = 86f
    grooved(25f, left, right)
    val x = 60f
    val y = (WALL + FLOOR) / 2
    val radius = (FLOOR - WALL) / 2 - 0.6f
    val asNew = arc(x, y, radius, radius, 0f, 360f, 40)
    if (grade >= 2) points(Pen.GONE, asNew)
    when (grade) {
        0 -> rubber(asNew.dropLast(1))
        1 -> rubber(flattened(x, y, radius, 17f))
        2 -> {
            rubber(flattened(x, y, radius, 11f))
            for (crack in listOf(50f, 56f, 64f, 70f)) line(Pen.INK, crack, y - 11, crack + 1.2f, y - 7.5f, crack - 0.4f, y - 4.5f)
        }
        3 -> {
            rubber(
                arc(x, y + 4, radius - 4, radius - 4.6f, -40f, 218f, 30) +
                    listOf(48f to y - 8f, 55f to y - 7f, 57f to y + 6f, 61f to y - 8f, 68f to y - 9f),
            )
            grains(1.4f, 92, 22, 84, 21.5, 76, 23, 68, 25, 60, 24, 57, 31, 50, 23, 41, 24, 33, 22, 24, 21.5, 15, 22)
        }
        else -> {
            rubber(arc(45f, FLOOR - 8.5f, 8.5f, 7.5f, 60f, 300f, 16) + listOf(46f to 52f, 44f to 56f, 48f to 59f))
            rubber(arc(75f, FLOOR - 7.5f, 8f, 6.5f, -130f, 120f, 16) + listOf(74f to 60f, 76f to 56f, 71f to 55f))
            grains(1.5f, 96, 22, 86, 22, 74, 26, 66, 33, 58, 28, 61, 45, 50, 36, 44, 27, 32, 22, 22, 21.5, 12, 22)
        }
    }
}.sketch()

/** A circle cut flat at [up] above and below its middle. */
private fun flattened(x: Float, y: Float, radius: Float, up: Float): List<Pair<Float, Float>> =
    arc(x, y, radius, radius, 0f, 360f, 60).dropLast(1).map { (px, py) ->
        // What is pressed flat goes to the sides.
        (x + (px - x) * (1f + (radius - up) * 0.008f)) to py.coerceIn(y - up, y + radius)
    }

package gritbook.shell.look.sketch

/** The two halves of the coupler around the heads of both rods, in section along the rods. */
internal fun couplerSketch(grade: Int): Sketch = SketchBook().apply {
    val middle = 45f
    // How far the right rod has come off its shoulder, to the left.
    val play = when (grade) {
        0, 1 -> 0f
        2 -> -1.4f
        else -> -4f
    }
    rod(toRight = false, shift = 0f, middle)
    rod(toRight = true, shift = play, middle)
    half(up = true, grade)
    half(up = false, grade)
    when (grade) {
        // Light fretting: fine grey on the shoulders, inside the heads.
        1 -> for (x in listOf(36f, 39f, 81f, 84f)) for (y in listOf(30.5f, 34f, 56f, 59.5f)) grains(1.1f, x, y, x + 1.6f, y + 1.8f)
        2 -> for ((x, y) in listOf(34 to 29, 86 to 29, 34 to 61, 86 to 61)) {
            grains(1.3f, x - 1, y - 1, x + 1, y + 1.5f, x - 0.6f, y + 2.5f)
        }
        3 -> {
            play()
            movement()
        }
        4 -> {
            play()
            movement()
            // Cracked through the upper half, at the corner where it always starts.
            shape(Pen.SOLID, 83.5, 27, 79, 22.5, 81.5, 18.5, 76, 13, 77.5, 7.5, 79, 13, 84, 18, 82, 22, 86, 26.5)
        }
    }
    line(Pen.FINE, 2, middle, 30, middle)
    line(Pen.FINE, 34, middle, 38, middle)
    line(Pen.FINE, 42, middle, 78, middle)
    line(Pen.FINE, 82, middle, 86, middle)
    line(Pen.FINE, 90, middle, 118, middle)
}.sketch()

private fun SketchBook.rod(toRight: Boolean, shift: Float, middle: Float) {
    fun x(x: Float) = if (toRight) 120f - x + shift else x - shift
    val outline = listOf(0f to -10f, 34f to -10f, 34f to -17f, 58f to -17f, 58f to 17f, 34f to 17f, 34f to 10f, 0f to 10f)
    points(Pen.BODY, outline.map { (px, py) -> x(px).coerceIn(1f, 119f) to middle + py }, closed = true)
}

/** One half: a bridge with two lips that hold the heads, and its stamp. */
private fun SketchBook.half(up: Boolean, grade: Int) {
    fun y(y: Float) = if (up) y else 90f - y
    val points = listOf(20f to 7f, 100f to 7f, 100f to 34f, 86f to 34f, 86f to 27f, 34f to 27f, 34f to 34f, 20f to 34f)
        .flatMap { (px, py) -> listOf(px, y(py)) }
    cut(*points.toTypedArray(), falling = !up)
    if (grade == 2) {
        // Marked shoulders: worn back from where they were.
        for (x in listOf(86f, 34f)) {
            val out = if (x > 60) 1 else -1
            shape(Pen.BODY, x, y(27f), x + out * 3f, y(27f), x + out * 3.4f, y(31f), x, y(34f))
            line(Pen.GONE, x, y(27f), x, y(34f))
        }
    }
    // Halves that belong together have their stamps on the same side.
    val left = grade == 4 && !up
    val at = if (left) 27f else 89f
    box(Pen.BODY, at - 1, minOf(y(11f), y(20f)), at + 7, maxOf(y(11f), y(20f)))
    val stamp = if (left) 3 else 2
    for (stroke in 0 until stamp) line(Pen.INK, at + 1.2f + stroke * 1.9f, y(12.6f), at + 1.2f + stroke * 1.9f, y(18.4f))
}

/** The gap that has opened between the rod's head and its shoulders. */
private fun SketchBook.play() {
    box(Pen.SOLID, 82.6f, 28.4f, 85.4f, 34)
    box(Pen.SOLID, 82.6f, 56, 85.4f, 61.6f)
}

/** The arrows of play, both ways. */
private fun SketchBook.movement() {
    line(Pen.INK, 104, 40, 116, 40)
    line(Pen.INK, 107, 37.5, 104, 40, 107, 42.5)
    line(Pen.INK, 113, 37.5, 116, 40, 113, 42.5)
}

/** Two of the coupler's bolts from the side. */
internal fun boltsSketch(grade: Int): Sketch = SketchBook().apply {
    bolt(25f, if (grade == 4) 0 else grade)
    if (grade == 4) brokenBolt(66f) else bolt(66f, grade)
}.sketch()

private fun SketchBook.bolt(y: Float, grade: Int) {
    val stretch = if (grade == 3) 7f else 0f
    if (grade == 3) points(Pen.GONE, head(y).map { it }, closed = true)
    val round = if (grade == 3) 5f else 0f
    if (round == 0f) points(Pen.BODY, head(y), closed = true)
    else points(Pen.BODY, arc(10f + round, y - 16 + round, round, round, 180f, 270f, 6) + listOf(26f to y - 15, 26f to y + 15) + arc(10f + round, y + 16 - round, round, round, 90f, 180f, 6), closed = true)
    if (grade < 3) {
        line(Pen.INK, 10, y - 8, 26, y - 8)
        line(Pen.INK, 10, y + 8, 26, y + 8)
    } else {
        line(Pen.FINE, 12, y - 7, 26, y - 8)
        line(Pen.FINE, 12, y + 7, 26, y + 8)
    }
    if (stretch > 0) {
        // Necked where it gave.
        shape(Pen.BODY, 26, y - 8, 44, y - 8, 50, y - 5, 56, y - 5, 62, y - 8, 68, y - 8, 68, y + 8, 62, y + 8, 56, y + 5, 50, y + 5, 44, y + 8, 26, y + 8)
        points(Pen.GONE, listOf(44f to y - 8, 62f to y - 8))
        points(Pen.GONE, listOf(44f to y + 8, 62f to y + 8))
    } else box(Pen.BODY, 26, y - 8, 64, y + 8)
    val from = if (stretch > 0) 68f else 64f
    thread(from, from + 46f, y, damaged = grade == 2, stretched = stretch > 0)
    if (grade == 1) grains(0.9f, 31, y - 4, 36, y + 3, 42, y - 2, 48, y + 4, 54, y - 4, 59, y + 1, 15, y, 20, y - 4, 18, y + 4, 72, y - 2, 80, y + 3, 90, y - 3, 98, y + 2)
}

private fun head(y: Float) = listOf(10f to y - 16, 26f to y - 16, 26f to y + 16, 10f to y + 16)

/** A thread from the side, crest by crest. */
private fun SketchBook.thread(from: Float, to: Float, y: Float, damaged: Boolean, stretched: Boolean) {
    val pitch = if (stretched) 5.75f else 4.6f
    val turns = ((to - from) / pitch).toInt()
    val hurt = setOf(2, 3, 6, 7)
    val upper = ArrayList<Pair<Float, Float>>()
    val lower = ArrayList<Pair<Float, Float>>()
    for (turn in 0 until turns) {
        val x = from + turn * pitch
        val flat = damaged && turn in hurt
        upper += x to y - 6
        upper += (x + pitch / 2) to y - (if (flat) 6.6f else 9f)
        lower += x to y + 6
        lower += (x + pitch / 2) to y + (if (flat) 6.4f else 9f)
    }
    val end = from + turns * pitch
    points(Pen.BODY, upper + listOf(end to y - 6, end + 2 to y - 4, end + 2 to y + 4, end to y + 6) + lower.reversed(), closed = true)
    for (turn in 0 until turns) {
        val x = from + turn * pitch + pitch / 2
        if (damaged && turn in hurt) {
            line(Pen.INK, x - 1, y - 6, x + 1.6f, y - 1, x - 1.4f, y + 2, x + 1, y + 6)
            dot(x, y - 8.4f, 1.3f)
            dot(x + 1, y + 8.2f, 1.2f)
        } else line(Pen.FINE, x, y - 8.4f, x, y + 8.4f)
    }
}

/** Broken in the shank; what is missing is dashed. */
private fun SketchBook.brokenBolt(y: Float) {
    points(Pen.BODY, head(y), closed = true)
    line(Pen.INK, 10, y - 8, 26, y - 8)
    line(Pen.INK, 10, y + 8, 26, y + 8)
    shape(Pen.BODY, 26, y - 8, 47, y - 8, 50, y - 4, 45, y - 1, 51, y + 2, 46, y + 5, 49, y + 8, 26, y + 8)
    shape(Pen.SOLID, 47, y - 8, 50, y - 4, 45, y - 1, 51, y + 2, 46, y + 5, 49, y + 8, 52, y + 5, 48.5, y + 5, 54, y + 1.5, 49, y - 1, 53, y - 5)
    line(Pen.GONE, 56, y - 8, 112, y - 8, 112, y + 8, 56, y + 8)
    for (x in 70..108 step 6) line(Pen.GONE, x, y - 8, x, y + 8)
}

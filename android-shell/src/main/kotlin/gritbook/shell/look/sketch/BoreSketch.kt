package gritbook.shell.look.sketch

/** The concrete cylinder cut along its length: steel and chrome above and below, the bore's face between. */
internal fun boreSketch(grade: Int): Sketch = SketchBook().apply {
    cut(4, 8, 116, 8, 116, 20, 4, 20)
    cut(4, 70, 116, 70, 116, 82, 4, 82)
    line(Pen.INK, 4, 20, 4, 70)
    line(Pen.INK, 116, 20, 116, 70)
    when (grade) {
        4 -> {
            chrome(4f to 22f, 41f to 52f, 78f to 84f, 104f to 116f)
            line(Pen.GONE, 22, 23, 104, 23)
            line(Pen.GONE, 22, 67, 104, 67)
        }
        3 -> chrome(4f to 44f, 50f to 82f, 86f to 116f)
        else -> chrome(4f to 116f)
    }
    when (grade) {
        0 -> {
            // The light that runs along a bright bore.
            line(Pen.FINE, 14, 34, 78, 34)
            line(Pen.FINE, 84, 34, 92, 34)
            line(Pen.FINE, 22, 36.5, 66, 36.5)
        }
        1 -> {
            for (y in listOf(30f, 36f, 43f, 50f, 56f, 61f)) line(Pen.FINE, 10 + y % 7 * 2, y, 108 - y % 5 * 4, y)
        }
        2 -> {
            for (x in listOf(24f, 78f)) {
                // A dull band, across the stroke.
                for (at in 0..9) line(Pen.FINE, x, 26 + at * 4.2f, x + 14, 26 + at * 4.2f)
                for (at in 0..5) line(Pen.FINE, x + at * 2.8f, 24, x + at * 2.8f, 66)
            }
            line(Pen.INK, 10, 33, 104, 33)
            line(Pen.INK, 20, 47, 110, 47)
            line(Pen.INK, 12, 58, 90, 58)
        }
        3 -> {
            for ((at, y) in listOf(30f, 38f, 49f, 58f).withIndex()) {
                line(Pen.INK, 8 + at * 5, y, 112 - at * 7, y + 0.6f)
                line(Pen.INK, 14 + at * 6, y + 1.8f, 96 - at * 5, y + 2f)
            }
            bare(47f, 27f, 5f, 3f)
            bare(84f, 44f, 4f, 3f)
            bare(30f, 54f, 3.4f, 2.6f)
            bare(69f, 62f, 3f, 2.4f)
        }
        4 -> {
            line(Pen.INK, 6, 29, 114, 29)
            line(Pen.INK, 6, 62, 112, 62)
            flake()
            bare(96f, 30f, 7f, 3.4f)
            bare(24f, 60f, 6f, 3.2f)
        }
    }
}.sketch()

/** The chrome on both walls, from one x to another; a gap is bare steel. */
private fun SketchBook.chrome(vararg spans: Pair<Float, Float>) = spans.forEach { (from, to) ->
    box(Pen.BODY, from, 20, to, 23)
    box(Pen.BODY, from, 67, to, 70)
}

/** A spot where chrome is gone. */
private fun SketchBook.bare(x: Float, y: Float, wide: Float, high: Float) {
    val ragged = floatArrayOf(1f, 0.7f, 1.05f, 0.75f, 0.95f, 0.65f, 1.1f, 0.8f, 0.9f, 0.7f)
    points(Pen.SOLID, List(ragged.size) {
        val angle = 2 * Math.PI * it / ragged.size
        (x + wide * ragged[it] * Math.cos(angle).toFloat()) to (y + high * ragged[it] * Math.sin(angle).toFloat())
    }, closed = true)
}

/** Chrome flaked off along the stroke. */
private fun SketchBook.flake() {
    shape(
        Pen.SOLID, 14, 44, 22, 38, 30, 41, 38, 36, 49, 39, 58, 35, 68, 38, 78, 36, 88, 40, 98, 38, 106, 44, 100, 47, 103, 51, 92, 52, 84, 56, 74, 52,
        63, 55, 52, 51, 44, 55, 35, 50, 26, 53, 20, 49,
    )
}

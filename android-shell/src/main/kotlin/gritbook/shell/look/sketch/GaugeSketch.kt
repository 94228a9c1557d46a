package gritbook.shell.look.sketch

/**
 * Where a bore is measured: along its length, the hopper's side on the left and the box on the right as in every drawing of a pump's side,
 * a line across at each of the three places; and from its end, both directions.
 */
internal fun gaugeSketch(): Sketch = SketchBook().apply {
    cut(4, 12, 66, 12, 66, TOP, 4, TOP)
    cut(4, LOW, 66, LOW, 66, 78, 4, 78)
    // The box with its water.
    line(Pen.INK, 66, 6, 66, 12)
    line(Pen.INK, 66, 78, 66, 85, 78, 85, 78, 6)
    for (step in 0..1) points(Pen.FINE, arc(69f + step * 5f, 16f, 2.5f, 1.3f, 180f, 0f, 8))
    for (x in listOf(13f, 35f, 57f)) {
        line(Pen.HERE, x, TOP + 1, x, LOW - 1)
        line(Pen.HERE, x - 4, TOP + 6, x, TOP + 1, x + 4, TOP + 6)
        line(Pen.HERE, x - 4, LOW - 6, x, LOW - 1, x + 4, LOW - 6)
    }
    // From its end.
    points(Pen.BODY, arc(100f, 45f, 17f, 17f, 0f, 360f, 48), closed = true)
    points(Pen.INK, arc(100f, 45f, 13f, 13f, 0f, 360f, 40), closed = true)
    line(Pen.HERE, 100, 33, 100, 57)
    line(Pen.HERE, 88, 45, 112, 45)
}.sketch()

private const val TOP = 22f
private const val LOW = 68f

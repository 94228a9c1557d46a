package gritbook.shell.look.sketch

/** How a photo is made: a rinsed spoonful in the window of the debris card, one layer, the phone straight above. */
fun cardSketch(): Sketch = SketchBook().apply {
    // The card with its four marks and its window.
    box(Pen.BODY, 4, 6, 82, 84)
    for (x in listOf(9, 65)) for (y in listOf(11, 67)) mark(x.toFloat(), y.toFloat())
    box(Pen.INK, 26, 28, 60, 62)
    val grains = listOf(
        31 to 33, 38 to 31, 47 to 34, 55 to 32, 33 to 41, 42 to 39, 51 to 41, 56 to 45, 30 to 49, 38 to 48, 46 to 47, 53 to 52, 33 to 57, 42 to 55, 49 to 58, 57 to 58,
    )
    grains.forEachIndexed { at, (x, y) -> dot(x, y, 0.9f + (at * 7 % 5) * 0.22f) }
    // The spoon that it came from, its bowl at the window's edge.
    points(Pen.BODY, arc(73f, 45f, 13f, 8f, 25f, 335f, 30) + listOf(88f to 42.4f, 115f to 36f) + arc(116f, 39f, 2.6f, 3f, -90f, 90f, 8) + listOf(115f to 42f, 88f to 47.6f), closed = true)
    grains(1.3f, 66, 43, 71, 47, 69, 40.5f, 75, 43)
    grains(0.8f, 72, 42.4f, 67, 47.5f, 76, 47)
}.sketch()

/** A mark of an open standard: solid corners around a raster that means nothing here. */
private fun SketchBook.mark(x: Float, y: Float) {
    box(Pen.INK, x, y, x + 12, y + 12)
    for ((dx, dy) in listOf(1.6f to 1.6f, 7.4f to 1.6f, 1.6f to 7.4f)) box(Pen.SOLID, x + dx, y + dy, x + dx + 3, y + dy + 3)
    for ((dx, dy) in listOf(8f to 8f, 6.2f to 6f, 9.6f to 6.4f, 6f to 9.4f)) box(Pen.SOLID, x + dx, y + dy, x + dx + 1.3f, y + dy + 1.3f)
}

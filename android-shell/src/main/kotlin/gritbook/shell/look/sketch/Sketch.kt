package gritbook.shell.look.sketch

import kotlin.math.cos
import kotlin.math.sin

/** How a mark is drawn. */
enum class Pen {
    /** A line of ink that carries a shape. */
    INK,

    /** A thin line of ink: hatching, threads, polish. */
    FINE,

    /** Where the part was when new: dashed, in pencil. */
    GONE,

    /** Filled with ink: grit, lumps, bare steel. */
    SOLID,

    /** Filled with paper and outlined in ink: a body that hides what lies behind it. */
    BODY,

    /** Where to look: heavy, in the accent's colour; always a ring or an arrow, never a mere colour. */
    HERE,
}

/** One mark of a drawing: a line through points, x and y in turn. */
class Mark(val pen: Pen, val points: FloatArray, val closed: Boolean)

/** A dot, filled with ink. */
class Dot(val x: Float, val y: Float, val radius: Float)

/**
 * A line drawing in a box of [WIDTH] by [HEIGHT] units, x to the right, y down. Marks are drawn in their order, dots last.
 * It knows no screen: the phone paints it, [toSvg] writes it for page and paper.
 */
class Sketch(val marks: List<Mark>, val dots: List<Dot>) {
    companion object {
        const val WIDTH = 120f
        const val HEIGHT = 90f
    }
}

/** Puts a [Sketch] together. */
class SketchBook {
    private val marks = ArrayList<Mark>()
    private val dots = ArrayList<Dot>()

    fun line(pen: Pen, vararg points: Number) = add(pen, points, false)

    fun shape(pen: Pen, vararg points: Number) = add(pen, points, true)

    fun box(pen: Pen, left: Number, top: Number, right: Number, bottom: Number) =
        shape(pen, left, top, right, top, right, bottom, left, bottom)

    fun points(pen: Pen, points: List<Pair<Float, Float>>, closed: Boolean = false) {
        marks += Mark(pen, points.flatMap { listOf(it.first, it.second) }.toFloatArray(), closed)
    }

    private fun add(pen: Pen, points: Array<out Number>, closed: Boolean) {
        require(points.size % 2 == 0) { "a point without its y" }
        marks += Mark(pen, FloatArray(points.size) { points[it].toFloat() }, closed)
    }

    /** Hatching of cut material inside a polygon: lines [apart] units apart, rising to the right or, [falling], to the left. */
    fun hatch(points: FloatArray, apart: Float = 4f, falling: Boolean = false) = hatchLines(points, apart, falling).forEach { marks += it }

    /** A cut body: outline over its hatching. */
    fun cut(vararg points: Number, apart: Float = 4f, falling: Boolean = false) {
        val corners = FloatArray(points.size) { points[it].toFloat() }
        marks += Mark(Pen.BODY, corners, true)
        hatch(corners, apart, falling)
        marks += Mark(Pen.INK, corners, true)
    }

    /** Cut rubber: hatched both ways, closer. */
    fun rubber(points: List<Pair<Float, Float>>) {
        val corners = points.flatMap { listOf(it.first, it.second) }.toFloatArray()
        marks += Mark(Pen.BODY, corners, true)
        hatch(corners, RUBBER, false)
        hatch(corners, RUBBER, true)
        marks += Mark(Pen.INK, corners, true)
    }

    fun dot(x: Number, y: Number, radius: Number = 1.1f) {
        dots += Dot(x.toFloat(), y.toFloat(), radius.toFloat())
    }

    /** Grains, x and y in turn. */
    fun grains(radius: Float, vararg places: Number) {
        for (at in places.indices step 2) dot(places[at], places[at + 1], radius)
    }

    /** A lump: grains bound together, of no regular shape. */
    fun lump(x: Float, y: Float, radius: Float) {
        val bumps = floatArrayOf(1f, 0.9f, 1.06f, 0.98f, 0.86f, 0.97f, 1.1f, 0.92f, 1.02f, 0.88f, 1.07f, 0.94f)
        points(Pen.SOLID, List(bumps.size) {
            // Turned by where it lies, so that no two look alike.
            val angle = 2 * Math.PI * it / bumps.size + x
            (x + radius * bumps[it] * cos(angle).toFloat()) to (y + radius * bumps[it] * 0.85f * sin(angle).toFloat())
        }, closed = true)
    }

    fun sketch() = Sketch(marks.toList(), dots.toList())

    private companion object {
        const val RUBBER = 5f
    }
}

/** Points of an arc around ([x], [y]) from one angle to another, degrees clockwise from the right. */
fun arc(x: Float, y: Float, radiusX: Float, radiusY: Float, from: Float, to: Float, count: Int = 24): List<Pair<Float, Float>> = List(count + 1) {
    val angle = Math.toRadians((from + (to - from) * it / count).toDouble())
    (x + radiusX * cos(angle).toFloat()) to (y + radiusY * sin(angle).toFloat())
}

/** Lines at 45 degrees inside a polygon, by the even-odd rule. */
private fun hatchLines(points: FloatArray, apart: Float, falling: Boolean): List<Mark> {
    val sign = if (falling) -1f else 1f
    // Along a hatch line u = x + sign * y is constant; v = x - sign * y runs along it.
    val count = points.size / 2
    val u = FloatArray(count) { points[2 * it] + sign * points[2 * it + 1] }
    val v = FloatArray(count) { points[2 * it] - sign * points[2 * it + 1] }
    val step = apart * Math.sqrt(2.0).toFloat()
    val lines = ArrayList<Mark>()
    var at = (Math.floor((u.min() / step).toDouble()).toFloat() + 0.5f) * step
    while (at < u.max()) {
        val cuts = ArrayList<Float>()
        for (i in 0 until count) {
            val j = (i + 1) % count
            if ((u[i] <= at) != (u[j] <= at)) cuts += v[i] + (at - u[i]) / (u[j] - u[i]) * (v[j] - v[i])
        }
        cuts.sort()
        for (pair in 0 until cuts.size / 2) {
            val (from, to) = cuts[2 * pair] to cuts[2 * pair + 1]
            lines += Mark(
                Pen.FINE,
                floatArrayOf((at + from) / 2, sign * (at - from) / 2, (at + to) / 2, sign * (at - to) / 2),
                false,
            )
        }
        at += step
    }
    return lines
}

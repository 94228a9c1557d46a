package gritbook.shell.look.photo

/** A line that a hand drew round something, made an outline: a hand mostly runs past where it began. Points are x and y in turn. */
object HandOutline {
    /** Without as much of its end as runs over its beginning; as it is where that does not help: the book then says what is wrong with it. */
    fun closed(line: List<Float>): List<Float> {
        val count = line.size / 2
        val shortest = maxOf(3, count - count / MOST_OVER)
        return (count downTo shortest).map { line.subList(0, 2 * it) }.firstOrNull { !crosses(it) } ?: line
    }

    /** Whether two of its sides that are no neighbours meet; the side from the last point to the first is one of them. */
    fun crosses(outline: List<Float>): Boolean {
        val count = outline.size / 2
        for (one in 0 until count) for (other in one + 1 until count) {
            val neighbours = other == one + 1 || (one == 0 && other == count - 1)
            if (!neighbours && meet(outline, one, (one + 1) % count, other, (other + 1) % count)) return true
        }
        return false
    }

    private fun meet(of: List<Float>, a: Int, b: Int, c: Int, d: Int): Boolean {
        fun x(point: Int) = of[2 * point].toDouble()
        fun y(point: Int) = of[2 * point + 1].toDouble()
        fun side(o: Int, p: Int, q: Int) = (x(p) - x(o)) * (y(q) - y(o)) - (y(p) - y(o)) * (x(q) - x(o))
        fun within(o: Int, p: Int, q: Int) = x(q) in minOf(x(o), x(p))..maxOf(x(o), x(p)) && y(q) in minOf(y(o), y(p))..maxOf(y(o), y(p))
        val (atC, atD) = side(a, b, c) to side(a, b, d)
        val (atA, atB) = side(c, d, a) to side(c, d, b)
        return (atC * atD < 0 && atA * atB < 0) || (atC == 0.0 && within(a, b, c)) || (atD == 0.0 && within(a, b, d)) ||
            (atA == 0.0 && within(c, d, a)) || (atB == 0.0 && within(c, d, b))
    }

    /** One part in so many of the line may run over its beginning. */
    private const val MOST_OVER = 4
}

package gritbook.shell.look

import android.graphics.Canvas
import android.graphics.Paint

/** A grit ring: a circle that fills with grit as the part wears; a measured grade has a square corner mark. */
object GritRing {
    /** Grades there are. */
    const val GRADES = 5

    /** Half the side of the square that a ring is drawn in, in the units below. */
    private const val HALF = 50f
    private const val RADIUS = 46f
    private const val PITCH = 9.6f
    private const val DOT = 3.9f
    private val ROW = Math.sqrt(0.75).toFloat()

    /**
     * Centres of the dots in pitches, x and y in turn: a hexagon of [grade] shells around one dot, 1 + 3 n (n + 1) of them;
     * none for grade 0.
     */
    fun dots(grade: Int): FloatArray {
        val shells = grade.coerceIn(0, GRADES - 1)
        if (shells == 0) return FloatArray(0)
        val centres = ArrayList<Float>()
        for (row in -shells..shells) {
            val columns = 2 * shells + 1 - Math.abs(row)
            for (column in 0 until columns) {
                centres += column - (columns - 1) / 2f
                centres += row * ROW
            }
        }
        return centres.toFloatArray()
    }

    /** How far the outermost dot reaches from the middle, as a share of the circle's radius. */
    fun reach(grade: Int): Float {
        val dots = dots(grade)
        return (dots.indices step 2).maxOfOrNull { (Math.hypot(dots[it].toDouble(), dots[it + 1].toDouble()) * PITCH + DOT).toFloat() / RADIUS } ?: 0f
    }

    private val raster = Array(GRADES, ::dots)

    /** Draws it with its middle at ([x], [y]) in a square of [size] px. [line] and [solid] have the colour. */
    fun draw(canvas: Canvas, x: Float, y: Float, size: Float, grade: Int?, measured: Boolean, line: Paint, solid: Paint) {
        val unit = size / (2 * HALF)
        val width = line.strokeWidth
        canvas.drawCircle(x, y, RADIUS * unit, line)
        if (grade == null) {
            canvas.drawLine(x - 14 * unit, y, x + 14 * unit, y, line)
            return
        }
        val dots = raster[grade.coerceIn(0, GRADES - 1)]
        for (at in dots.indices step 2) {
            canvas.drawCircle(x + dots[at] * PITCH * unit, y + dots[at + 1] * PITCH * unit, DOT * unit, solid)
        }
        if (measured) canvas.drawRect(x + 30 * unit, y - HALF * unit, x + HALF * unit, y - 30 * unit, solid)
        line.strokeWidth = width
    }
}

package gritbook.shell.look.sketch

import android.graphics.Canvas
import android.graphics.DashPathEffect
import android.graphics.Paint
import android.graphics.Path
import gritbook.shell.look.Look

/** Paints a [Sketch] on a canvas, as large as fits a box, lines as thick as the look has them. */
class SketchPainter(private val look: Look) {
    private val ink = look.pen(look.ink)
    private val fine = look.pen(look.ink)
    private val gone = look.pen(look.pencil)
    private val solid = look.brush(look.ink)
    private val body = look.brush(look.paper)
    private val here = look.pen(look.violet)
    private val path = Path()

    fun paint(canvas: Canvas, sketch: Sketch, left: Float, top: Float, width: Float, height: Float) {
        val unit = minOf(width / Sketch.WIDTH, height / Sketch.HEIGHT)
        if (unit <= 0f) return
        val x = left + (width - unit * Sketch.WIDTH) / 2
        val y = top + (height - unit * Sketch.HEIGHT) / 2
        // Thin on a small drawing, or hatching runs together.
        ink.strokeWidth = (unit * 1.1f).coerceIn(look.dp(1.25f), look.line * 1.25f)
        fine.strokeWidth = (unit * 0.4f).coerceIn(look.dp(0.5f), look.dp(1f))
        gone.strokeWidth = (unit * 0.7f).coerceIn(look.dp(1f), look.dp(1.5f))
        here.strokeWidth = (unit * 1.8f).coerceIn(look.dp(2.5f), look.dp(4f))
        gone.pathEffect = DashPathEffect(floatArrayOf(unit * 2.6f, unit * 2.2f), 0f)
        for (mark in sketch.marks) {
            path.rewind()
            for (at in mark.points.indices step 2) {
                val px = x + unit * mark.points[at]
                val py = y + unit * mark.points[at + 1]
                if (at == 0) path.moveTo(px, py) else path.lineTo(px, py)
            }
            if (mark.closed) path.close()
            val brush: Paint = when (mark.pen) {
                Pen.INK -> ink
                Pen.FINE -> fine
                Pen.GONE -> gone
                Pen.SOLID -> solid
                Pen.BODY -> body
                Pen.HERE -> here
            }
            canvas.drawPath(path, brush)
            if (mark.pen == Pen.BODY) canvas.drawPath(path, ink)
        }
        for (dot in sketch.dots) canvas.drawCircle(x + unit * dot.x, y + unit * dot.y, (unit * dot.radius).coerceAtLeast(1f), solid)
    }
}

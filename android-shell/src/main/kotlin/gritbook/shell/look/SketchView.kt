package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.view.View
import gritbook.shell.look.sketch.Sketch
import gritbook.shell.look.sketch.SketchPainter

/** A drawing that stands beside words which say the same. */
class SketchView(context: Context, private val sketch: Sketch, private val ofHeight: Int = 3) : View(context) {
    private val painter = SketchPainter(Look(context))

    init {
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = resolveSize((resources.displayMetrics.density * 240).toInt(), widthSpec)
        // No higher than a third of the screen, or less: words and keys come first.
        val high = minOf((width * Sketch.HEIGHT / Sketch.WIDTH).toInt(), resources.displayMetrics.heightPixels / ofHeight)
        setMeasuredDimension(width, resolveSize(high, heightSpec))
    }

    override fun onDraw(canvas: Canvas) = painter.paint(canvas, sketch, 0f, 0f, width.toFloat(), height.toFloat())
}

package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.view.View
import gritbook.core.Part
import gritbook.shell.R
import gritbook.shell.look.sketch.Sketch
import gritbook.shell.look.sketch.SketchPainter
import gritbook.shell.look.sketch.sketchOf

/** The name of a part. */
val Part.nameId: Int
    get() = when (this) {
        Part.CUP -> R.string.part_cup
        Part.GUIDE_BAND -> R.string.part_guide_band
        Part.O_RING -> R.string.part_o_ring
        Part.PLATE -> R.string.part_plate
        Part.BORE -> R.string.part_bore
        Part.COUPLER -> R.string.part_coupler
        Part.BOLTS -> R.string.part_bolts
    }

/** A part in section with the wear of a grade, as large as it is laid out. */
class PartDrawing(context: Context) : View(context) {
    private val painter = SketchPainter(Look(context))
    private var sketch: Sketch? = null

    fun show(part: Part, grade: Int): PartDrawing {
        sketch = sketchOf(part, grade)
        val name = context.inItsLanguage(CoreWords.gradeNames[grade])
        contentDescription = context.getString(R.string.drawing_says, context.getString(part.nameId), name, context.inItsLanguage(CoreWords.criteria(part)[grade]))
        invalidate()
        return this
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = resolveSize((resources.displayMetrics.density * 240).toInt(), widthSpec)
        setMeasuredDimension(width, resolveSize((width * Sketch.HEIGHT / Sketch.WIDTH).toInt(), heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        sketch?.let { painter.paint(canvas, it, 0f, 0f, width.toFloat(), height.toFloat()) }
    }
}

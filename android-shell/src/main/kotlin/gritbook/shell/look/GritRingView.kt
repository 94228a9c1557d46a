package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.view.View
import gritbook.shell.R

/** A grade as a [GritRing]; as large as it is laid out, 12 mm where nothing says. */
class GritRingView(context: Context) : View(context) {
    private val look = Look(context)
    private val line = look.pen(look.ink)
    private val solid = look.brush(look.ink)

    /** 0 sound to 4 spent; null for no grade yet. */
    var grade: Int? = null
        set(value) {
            require(value == null || value in 0 until GritRing.GRADES) { "grade $value" }
            field = value
            say()
        }

    /** True for a grade that was measured. */
    var measured: Boolean = false
        set(value) {
            field = value
            say()
        }

    init {
        say()
    }

    /** Both at once. */
    fun show(grade: Int?, measured: Boolean = false): GritRingView {
        this.measured = measured
        this.grade = grade
        return this
    }

    private fun say() {
        contentDescription = grade?.let {
            val source = context.getString(if (measured) R.string.grade_measured else R.string.grade_by_eye)
            context.getString(R.string.ring_says, it, context.inItsLanguage(CoreWords.gradeNames[it]), source)
        } ?: context.getString(R.string.grade_none)
        invalidate()
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val wished = look.mm(12f).toInt()
        val side = minOf(resolveSize(wished, widthSpec), resolveSize(wished, heightSpec))
        setMeasuredDimension(resolveSize(side, widthSpec), resolveSize(side, heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val size = minOf(width, height).toFloat()
        line.strokeWidth = (size * 0.04f).coerceIn(look.dp(1.25f), look.line * 2)
        GritRing.draw(canvas, width / 2f, height / 2f, size, grade, measured, line, solid)
    }
}

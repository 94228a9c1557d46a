package gritbook.shell.look

import android.content.Context
import android.graphics.Paint
import android.graphics.Typeface
import android.util.TypedValue
import gritbook.shell.R

/** The tokens of the notebook as a View needs them: colours of day or night, sizes in pixels. */
class Look(val context: Context) {
    private val resources = context.resources

    val paper = context.getColor(R.color.paper)
    val ground = context.getColor(R.color.ground)
    val ink = context.getColor(R.color.ink)
    val pencil = context.getColor(R.color.pencil)
    val rule = context.getColor(R.color.rule)
    val violet = context.getColor(R.color.violet)
    val onViolet = context.getColor(R.color.on_violet)

    /** The least side of anything that is touched, px. */
    val touch = resources.getDimensionPixelSize(R.dimen.touch)

    /** Between two things that are touched, px. */
    val touchGap = resources.getDimensionPixelSize(R.dimen.touch_gap)

    /** A line that carries a shape, px. */
    val line = resources.getDimension(R.dimen.line)

    /** A line that only parts things, px. */
    val hairline = resources.getDimension(R.dimen.hairline)

    val textFigure = resources.getDimension(R.dimen.figure)
    val textTitle = resources.getDimension(R.dimen.title)
    val textBody = resources.getDimension(R.dimen.text)
    val textNote = resources.getDimension(R.dimen.note)

    /** [count] steps of 4 dp, px. */
    fun steps(count: Int): Int = Math.round(dp(4f * count))

    fun dp(dp: Float): Float = TypedValue.applyDimension(TypedValue.COMPLEX_UNIT_DIP, dp, resources.displayMetrics)

    fun mm(mm: Float): Float = TypedValue.applyDimension(TypedValue.COMPLEX_UNIT_MM, mm, resources.displayMetrics)

    /** A pen for shapes: [width] in px. */
    fun pen(colour: Int, width: Float = line): Paint = Paint(Paint.ANTI_ALIAS_FLAG).apply {
        style = Paint.Style.STROKE
        strokeWidth = width
        strokeJoin = Paint.Join.ROUND
        strokeCap = Paint.Cap.ROUND
        color = colour
    }

    /** A brush that fills. */
    fun brush(colour: Int): Paint = Paint(Paint.ANTI_ALIAS_FLAG).apply { color = colour }

    companion object {
        /** Figures of one width, so that columns and changing values stand still. */
        const val TABULAR = "tnum"

        val plain: Typeface = Typeface.create("sans-serif", Typeface.NORMAL)
        val bold: Typeface = Typeface.create("sans-serif", Typeface.BOLD)
    }
}

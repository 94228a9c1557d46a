package gritbook.shell.frame

import android.content.Context
import android.content.res.Configuration
import android.graphics.Canvas
import android.view.View
import android.view.ViewGroup
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import android.widget.ScrollView
import gritbook.shell.R
import gritbook.shell.look.Look

/**
 * What the thumb does. The key that the page is for (see [key]) stands fixed at the end, where the thumb is, at any type size; what
 * else is added stands above it and scrolls where the room is short. Upright it never takes more of the screen than leaves room to
 * read; on its side it takes the whole height of its column.
 */
class Foot(context: Context) : LinearLayout(context) {
    private val rest = LinearLayout(context).apply { orientation = VERTICAL }
    private val scroll = ScrollView(context).apply { addView(rest, ViewGroup.LayoutParams(MATCH_PARENT, WRAP_CONTENT)) }
    private val main = LinearLayout(context).apply { orientation = VERTICAL }
    private val gap = context.px(R.dimen.touch_gap)
    private val built: Boolean

    init {
        orientation = VERTICAL
        // Narrower than the page's own: three keys of a glove's size stand side by side on the narrowest phone.
        setPadding(context.dp(8), context.dp(8), context.dp(8), context.dp(12))
        super.addView(scroll, -1, LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        super.addView(main, -1, LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        built = true
    }

    override fun addView(child: View, index: Int, params: ViewGroup.LayoutParams) {
        if (!built) return super.addView(child, index, params)
        val into = if (isMain(child)) main else rest
        if (into.childCount == 0) (params as? MarginLayoutParams)?.topMargin = 0
        into.addView(child, params)
    }

    override fun removeAllViews() {
        rest.removeAllViews()
        main.removeAllViews()
    }

    /** The key itself, or a row that it stands in. */
    private fun isMain(view: View): Boolean = view.getTag(R.id.main_key) == true || (view is ViewGroup && (0 until view.childCount).any { isMain(view.getChildAt(it)) })

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = MeasureSpec.getSize(widthSpec)
        val whole = MeasureSpec.getMode(heightSpec) == MeasureSpec.EXACTLY
        val most = if (whole) MeasureSpec.getSize(heightSpec) else resources.displayMetrics.heightPixels * share() / 15
        val across = MeasureSpec.makeMeasureSpec((width - paddingLeft - paddingRight).coerceAtLeast(0), MeasureSpec.EXACTLY)
        fun measure(view: View, room: Int) = view.measure(across, MeasureSpec.makeMeasureSpec(room.coerceAtLeast(0), MeasureSpec.AT_MOST))
        val room = most - paddingTop - paddingBottom
        measure(main, room)
        val between = between()
        measure(scroll, room - main.measuredHeight - between)
        val height = main.measuredHeight + between + scroll.measuredHeight + paddingTop + paddingBottom
        setMeasuredDimension(width, if (whole) most else height)
    }

    /** Fifteenths of an upright screen: with large letters what is read needs more of it. */
    private fun share() = if (resources.configuration.fontScale >= Page.LARGE && resources.configuration.orientation != Configuration.ORIENTATION_LANDSCAPE) 9 else 10

    // Upright a line parts what is read, which scrolls under it, from what is done.
    private val line = Look(context).run { pen(pencil, hairline) }

    override fun dispatchDraw(canvas: Canvas) {
        if (resources.configuration.orientation != Configuration.ORIENTATION_LANDSCAPE && (rest.childCount > 0 || main.childCount > 0)) canvas.drawLine(0f, 0f, width.toFloat(), 0f, line)
        super.dispatchDraw(canvas)
    }

    private fun between() = if (rest.childCount > 0 && main.childCount > 0) gap else 0

    override fun onLayout(changed: Boolean, l: Int, t: Int, r: Int, b: Int) {
        val bottom = b - t - paddingBottom
        val top = bottom - main.measuredHeight
        main.layout(paddingLeft, top, paddingLeft + main.measuredWidth, bottom)
        val under = top - between()
        scroll.layout(paddingLeft, under - scroll.measuredHeight, paddingLeft + scroll.measuredWidth, under)
    }
}

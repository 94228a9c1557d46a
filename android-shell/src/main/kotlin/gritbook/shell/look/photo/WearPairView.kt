package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Bitmap
import android.view.Gravity
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.ImageView
import android.widget.LinearLayout
import gritbook.shell.frame.Page
import gritbook.shell.look.Kit
import gritbook.shell.look.SlipDrawable

/** The new photo of a part beside the last one, small: a key to see both large. */
class WearPairView(context: Context) : LinearLayout(context) {
    private val kit = Kit(context)
    private val look = kit.look

    /** A photo with a line under it; null for the photo where there is none. */
    class Side(val picture: Bitmap?, val words: CharSequence)

    init {
        orientation = VERTICAL
        gravity = Gravity.CENTER
        background = SlipDrawable(look, SlipDrawable.Kind.QUIET)
        val pad = look.steps(2)
        setPadding(pad, pad, pad, pad)
        minimumHeight = look.touch
        isFocusable = true
        isClickable = true
        visibility = View.GONE
    }

    fun show(now: Side, last: Side, says: CharSequence) {
        removeAllViews()
        val pictures = listOf(now, last).map { it.picture }
        if (pictures.any { it != null }) add(abreast(pictures.map(::small)))
        // Large letters need the whole width.
        if (resources.configuration.fontScale >= Page.LARGE) add(words("${now.words} – ${last.words}")) else add(abreast(listOf(now, last).map { words(it.words) }))
        contentDescription = says
        visibility = View.VISIBLE
    }

    private fun add(view: View) = addView(view, LayoutParams(MATCH_PARENT, WRAP_CONTENT))

    private fun abreast(views: List<View>) = LinearLayout(context).apply {
        isBaselineAligned = false
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO_HIDE_DESCENDANTS
        views.forEachIndexed { at, view ->
            val high = if (view is ImageView) look.dp(HEIGHT).toInt() else WRAP_CONTENT
            addView(view, LayoutParams(0, high, 1f).apply { if (at > 0) leftMargin = look.steps(2) })
        }
    }

    private fun small(picture: Bitmap?) = ImageView(context).apply {
        scaleType = ImageView.ScaleType.CENTER_CROP
        setImageBitmap(picture)
    }

    private fun words(words: CharSequence) = kit.note(words).apply {
        gravity = Gravity.CENTER
        importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO
    }

    private companion object {
        /** Of a small photo, dp. */
        const val HEIGHT = 60f
    }
}

package gritbook.shell.frame

import android.content.Context
import android.content.res.Configuration
import android.view.Gravity
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.Button
import android.widget.FrameLayout
import android.widget.LinearLayout
import android.widget.ScrollView
import gritbook.shell.R
import gritbook.shell.look.BackArrow
import gritbook.shell.look.Look
import gritbook.shell.look.UnderlineDrawable

/**
 * How every screen is laid out: a head with the way back, what the eye reads in the upper part (it scrolls), what the thumb does at
 * the foot ([Foot]). In landscape the foot stands at the side of the thumb.
 */
class Page(private val context: Context, title: CharSequence, leftHand: Boolean, back: (() -> Unit)?) {
    private val landscape = context.resources.configuration.orientation == Configuration.ORIENTATION_LANDSCAPE
    private val body = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        val margin = context.px(R.dimen.margin)
        setPadding(margin, context.dp(4), margin, margin)
    }
    /** What went wrong last, and whether what is typed can be kept: neither takes the other's place, whichever comes first. */
    private val last = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }
    private val unkept = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }
    private val said = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        addView(last, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        addView(unkept, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
    }
    val scroll = ScrollView(context).apply { isFillViewport = true }
    private val foot = Foot(context)
    private val large = context.resources.configuration.fontScale >= LARGE
    private val name = context.heading(title).apply { id = R.id.headline }
    private val head = LinearLayout(context)
    private val upper = LinearLayout(context)

    /** One view has all the room, and at large letters the head leaves it as much as it can. */
    private var filled = false
    val root: View

    /** What the head says; [answer]: it is what the screen was asked for, in the largest letters. */
    fun title(text: CharSequence, answer: Boolean = false) {
        name.text = text
        val size = if (answer) R.dimen.figure else if (filled && large) R.dimen.text else R.dimen.title
        name.setTextSize(android.util.TypedValue.COMPLEX_UNIT_PX, context.resources.getDimension(size))
    }

    init {
        body.addView(said)
        val sheet = LinearLayout(context).apply { orientation = LinearLayout.VERTICAL }
        // Large letters leave little to read beside a head and keys that stand: the head scrolls with the page.
        (if (large) sheet else upper).addView(head(back), LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        sheet.addView(body, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        scroll.addView(sheet, FrameLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        upper.orientation = LinearLayout.VERTICAL
        upper.addView(scroll, LinearLayout.LayoutParams(MATCH_PARENT, 0, 1f))
        root = LinearLayout(context).apply {
            setBackgroundColor(context.getColor(R.color.paper))
            isBaselineAligned = false
            if (landscape) {
                orientation = LinearLayout.HORIZONTAL
                val parts = listOf(upper to 3f, foot to 2f)
                (if (leftHand) parts.reversed() else parts).forEach { (view, share) ->
                    addView(view, LinearLayout.LayoutParams(0, MATCH_PARENT, share))
                }
            } else {
                orientation = LinearLayout.VERTICAL
                addView(upper, LinearLayout.LayoutParams(MATCH_PARENT, 0, 1f))
                addView(foot, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
            }
        }
    }

    private fun head(back: (() -> Unit)?) = head.apply {
        orientation = LinearLayout.HORIZONTAL
        gravity = Gravity.CENTER_VERTICAL
        background = Look(context).let { UnderlineDrawable(it.ink, it.line) }
        val margin = context.px(R.dimen.margin)
        if (back != null) {
            val way = Button(context).apply {
                id = R.id.back
                contentDescription = context.getString(R.string.back)
                stateListAnimator = null
                background = BackArrow(Look(context))
                setOnClickListener { back() }
            }
            addView(way, LinearLayout.LayoutParams(context.px(R.dimen.touch), context.px(R.dimen.touch)))
        }
        name.apply { setPadding(if (back == null) margin else 0, context.dp(12), margin, context.dp(12)) }
        addView(name, LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f))
    }

    /** Something to touch at the head's end, where the foot is taken by something else. */
    fun action(text: CharSequence, id: Int, act: () -> Unit) {
        val key = context.key(text, id = id, act = act)
        if (large) {
            // The name of what the page is about needs the room.
            key.text = ""
            key.contentDescription = text
            key.foreground = BackArrow(Look(context), onward = true)
        }
        head.addView(key, LinearLayout.LayoutParams(WRAP_CONTENT, context.px(R.dimen.touch)).apply { rightMargin = context.px(R.dimen.margin) })
    }

    /** One view that takes all the room under the head and needs no foot; what does not fit scrolls. */
    fun <V : View> fill(view: V): V {
        filled = true
        title(name.text)
        foot.visibility = View.GONE
        (head.parent as LinearLayout).removeView(head)
        upper.removeView(scroll)
        upper.addView(head, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        body.removeView(said)
        upper.addView(said, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        upper.addView(Viewport(context).apply { addView(view, FrameLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT)) }, LinearLayout.LayoutParams(MATCH_PARENT, 0, 1f))
        return view
    }

    /** Adds to what is read. */
    fun <V : View> put(view: V, gap: Int = 12): V {
        body.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.dp(gap) })
        return view
    }

    /** What the thumb does, for a screen that fills it anew with each question. */
    fun foot(): Foot = foot

    /** Adds to what the thumb does. */
    fun <V : View> foot(view: V): V {
        foot.addView(view, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { topMargin = context.px(R.dimen.touch_gap) })
        return view
    }

    /** Says what went wrong and what to do, above everything; the last one only. */
    fun tell(trouble: Trouble, id: Int = R.id.said) = context.say(trouble).let { say(it.reason.capital(), it.advice.capital(), id) }

    fun say(what: CharSequence, advice: CharSequence = "", id: Int = R.id.said) = put(last, what, advice, id)

    fun sayNothing() = last.removeAllViews()

    /** Says beside anything else that what is typed cannot be kept now; null: it can again. */
    fun sayUnkept(what: CharSequence?, advice: CharSequence = "") {
        if (what == null) unkept.removeAllViews() else put(unkept, what, advice, R.id.unkept)
    }

    private fun put(place: LinearLayout, what: CharSequence, advice: CharSequence, id: Int) {
        place.removeAllViews()
        val box = LinearLayout(context).apply {
            this.id = id
            orientation = LinearLayout.VERTICAL
            background = context.boxed(R.color.ink)
            setPadding(context.dp(12), context.dp(12), context.dp(12), context.dp(12))
            accessibilityLiveRegion = View.ACCESSIBILITY_LIVE_REGION_ASSERTIVE
            addView(context.words(what.toString().capital(), bold = true))
            if (advice.isNotBlank()) addView(context.words(advice.toString().capital()))
        }
        place.addView(box, LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT))
        scroll.scrollTo(0, 0)
    }

    companion object {
        /** From this type size on a sign stands for a word in the head, and the head scrolls with the page. */
        const val LARGE = 1.3f
    }

    /** Tells its child how much room there is, and scrolls where the child needs more. */
    private class Viewport(context: Context) : ScrollView(context) {
        override fun measureChildWithMargins(child: View, widthSpec: Int, widthUsed: Int, heightSpec: Int, heightUsed: Int) {
            val width = View.MeasureSpec.makeMeasureSpec(View.MeasureSpec.getSize(widthSpec), View.MeasureSpec.EXACTLY)
            child.measure(width, View.MeasureSpec.makeMeasureSpec(View.MeasureSpec.getSize(heightSpec), View.MeasureSpec.AT_MOST))
        }
    }
}

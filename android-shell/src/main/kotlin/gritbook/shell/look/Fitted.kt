package gritbook.shell.look

import android.annotation.SuppressLint
import android.content.Context
import android.text.Layout
import android.util.TypedValue
import android.view.View
import android.widget.Button
import android.widget.TextView

/**
 * Words that are written smaller rather than broken inside a word, where the longest one does not fit its line. It happens at
 * 200 % type on a narrow screen, before API 34 above all, where 200 % is 200 % for large letters too.
 */
class FittedText(context: Context) : TextView(context) {
    private val fit = Fit(this)

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        fit.to(widthSpec)
        super.onMeasure(widthSpec, heightSpec)
    }
}

/** The same for what is pressed. */
@SuppressLint("AppCompatCustomView")
class FittedButton(context: Context) : Button(context, null, 0) {
    private val fit = Fit(this)

    /** The width that its longest word needs in the size that was asked for, px. */
    val leastWidth: Int get() = maxOf(minimumWidth, fit.leastWidth())

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        fit.to(widthSpec)
        super.onMeasure(widthSpec, heightSpec)
    }
}

/** Keeps the size that was asked for and the one that it is written in. */
private class Fit(private val view: TextView) {
    private var asked = 0f
    private var written = 0f

    fun to(widthSpec: Int) {
        // Set from outside since the last time: that is what is asked for now.
        if (view.textSize != written) asked = view.textSize
        var size = asked
        if (View.MeasureSpec.getMode(widthSpec) != View.MeasureSpec.UNSPECIFIED) {
            val room = View.MeasureSpec.getSize(widthSpec) - view.compoundPaddingLeft - view.compoundPaddingRight
            set(asked)
            val longest = longestWord()
            if (longest > room && room > 0) size = asked * room / longest * SPARE
        }
        set(size)
        written = view.textSize
    }

    fun leastWidth(): Int {
        if (view.textSize != written) asked = view.textSize
        set(asked)
        written = view.textSize
        return Math.ceil(longestWord().toDouble()).toInt() + view.compoundPaddingLeft + view.compoundPaddingRight + 1
    }

    private fun set(size: Float) {
        if (view.textSize != size) view.setTextSize(TypedValue.COMPLEX_UNIT_PX, size)
    }

    private fun longestWord(): Float {
        val text = view.text
        var longest = 0f
        var from = 0
        while (from < text.length) {
            var to = from
            while (to < text.length && text[to] != ' ' && text[to] != '\n') to++
            if (to > from) longest = maxOf(longest, Layout.getDesiredWidth(text, from, to, view.paint))
            from = to + 1
        }
        return longest
    }

    private companion object {
        const val SPARE = 0.98f
    }
}

package gritbook.shell.screens.pump

import android.content.Context
import android.view.View
import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import android.view.ViewGroup.LayoutParams.WRAP_CONTENT
import android.widget.LinearLayout
import gritbook.core.BreakIn
import gritbook.core.BreakInLook
import gritbook.core.Quantity
import gritbook.shell.R
import gritbook.shell.frame.Figures
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.note
import gritbook.shell.frame.say
import gritbook.shell.frame.words
import gritbook.shell.look.LookRailView
import gritbook.shell.look.LookRailView.State
import gritbook.shell.look.isScreenReaderFocusableCompat

/** The looks into the box that follow new cups, one below the other: taken, due, to come; what to look for stands at the next one. */
object NewCups {
    fun view(context: Context, figures: Figures, cups: BreakIn): View = LinearLayout(context).apply {
        id = R.id.looks
        orientation = LinearLayout.VERTICAL
        addView(context.heading(context.getString(R.string.looks_title)))
        addView(context.note(context.getString(R.string.looks_through, figures.show(Quantity.CONCRETE, cups.throughM3))))
        val next = cups.looks.indexOfFirst { !it.done }
        cups.looks.forEachIndexed { at, look ->
            val rail = LookRailView(context, state(look), at == 0, at == cups.looks.lastIndex)
            val lines = listOfNotNull(
                context.words(name(context, figures, look), bold = look.due),
                context.words(says(context, figures, look, cups.throughM3), bold = look.due),
                if (at == next) context.note(context.say(look.lookFor)) else null,
            )
            addView(row(context, rail, lines), LinearLayout.LayoutParams(MATCH_PARENT, WRAP_CONTENT).apply { if (at == 0) topMargin = context.dp(8) })
        }
    }

    private fun row(context: Context, rail: View, lines: List<android.widget.TextView>) = LinearLayout(context).apply {
        isBaselineAligned = false
        isScreenReaderFocusableCompat = true
        contentDescription = lines.joinToString(", ") { it.text }
        addView(rail, LinearLayout.LayoutParams(WRAP_CONTENT, MATCH_PARENT).apply { rightMargin = context.dp(8) })
        addView(LinearLayout(context).apply {
            orientation = LinearLayout.VERTICAL
            setPadding(0, context.dp(8), 0, context.dp(8))
            lines.forEach(::addView)
        }, LinearLayout.LayoutParams(0, WRAP_CONTENT, 1f))
    }

    private fun state(look: BreakInLook) = if (look.done) State.DONE else if (look.due) State.DUE else State.LATER

    private fun name(context: Context, figures: Figures, look: BreakInLook): String =
        if (look.firstPour) context.getString(R.string.looks_first) else context.getString(R.string.looks_after, figures.show(Quantity.CONCRETE, look.atM3))

    private fun says(context: Context, figures: Figures, look: BreakInLook, throughM3: Double): String = when (state(look)) {
        State.DONE -> context.getString(R.string.looks_done)
        State.DUE -> context.getString(R.string.looks_due)
        State.LATER -> if (look.firstPour) context.getString(R.string.looks_not_poured) else context.getString(R.string.looks_later, figures.show(Quantity.CONCRETE, look.atM3 - throughM3))
    }
}

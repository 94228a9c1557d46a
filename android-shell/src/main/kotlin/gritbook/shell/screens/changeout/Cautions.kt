package gritbook.shell.screens.changeout

import android.content.Context
import android.view.View
import gritbook.core.Signal
import gritbook.shell.R
import gritbook.shell.frame.boxed
import gritbook.shell.frame.dp
import gritbook.shell.frame.words
import gritbook.shell.look.CautionPanel
import gritbook.shell.look.Kit

/** A caution of the book as a safety panel. A notice is about things, not people: it has no safety colour. */
object Cautions {
    fun view(context: Context, signal: Signal, text: String): View {
        val panel = when (signal) {
            Signal.DANGER -> gritbook.shell.look.Signal.DANGER
            Signal.WARNING -> gritbook.shell.look.Signal.WARNING
            Signal.CAUTION -> gritbook.shell.look.Signal.CAUTION
            Signal.NOTICE -> return context.words(text, bold = true).apply {
                background = context.boxed(R.color.ink)
                setPadding(context.dp(12), context.dp(12), context.dp(12), context.dp(12))
            }
        }
        return CautionPanel(Kit(context), panel, text)
    }
}

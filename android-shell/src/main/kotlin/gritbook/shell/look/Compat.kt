package gritbook.shell.look

import android.os.Build
import android.view.View
import android.view.accessibility.AccessibilityNodeInfo

/** A heading that TalkBack can jump to. Before API 28 there is no such property and nothing is lost. */
var View.isAccessibilityHeadingCompat: Boolean
    get() = Build.VERSION.SDK_INT >= 28 && isAccessibilityHeading
    set(heading) {
        if (Build.VERSION.SDK_INT >= 28) isAccessibilityHeading = heading
    }

/** One stop for TalkBack that says the whole group. */
var View.isScreenReaderFocusableCompat: Boolean
    get() = if (Build.VERSION.SDK_INT >= 28) isScreenReaderFocusable else isFocusable
    set(focusable) {
        if (Build.VERSION.SDK_INT >= 28) isScreenReaderFocusable = focusable
    }

/** What state a thing is in, said after its name; before API 30 the name carries it. */
fun AccessibilityNodeInfo.sayState(state: CharSequence) {
    if (Build.VERSION.SDK_INT >= 30) stateDescription = state
}

/** True where the language of the phone is Spanish; every other one reads English. */
val android.content.Context.isSpanish: Boolean
    get() = resources.configuration.locales[0].language == "es"

/** The core's words in the language of the phone. */
fun android.content.Context.inItsLanguage(words: gritbook.core.Words): String = if (isSpanish) words.es else words.en

package gritbook.shell.look

import android.graphics.Rect
import android.view.View
import android.view.ViewGroup
import android.widget.TextView

/** Every view of a tree that can be seen, itself included. */
fun seen(root: View): List<View> = when {
    root.visibility != View.VISIBLE -> emptyList()
    root is ViewGroup -> listOf(root) + (0 until root.childCount).flatMap { seen(root.getChildAt(it)) }
    else -> listOf(root)
}

/** Where a view lies in [root]. */
fun placeIn(root: View, view: View): Rect {
    val place = Rect(0, 0, view.width, view.height)
    if (view !== root) (root as ViewGroup).offsetDescendantRectToMyCoords(view, place)
    return place
}

private fun named(view: View) = "${view.javaClass.simpleName} \"${(view as? TextView)?.text ?: view.contentDescription ?: ""}\""

/** What is wrong with the words of a tree: cut, shortened, too small, broken inside a word. */
fun faultsOfWords(root: View): List<String> = seen(root).filterIsInstance<TextView>().filter { it.text.isNotEmpty() }.flatMap { view ->
    val faults = ArrayList<String>()
    val layout = view.layout
    if (layout == null) {
        faults += "never laid out"
    } else {
        val roomY = view.height - view.compoundPaddingTop - view.compoundPaddingBottom
        val roomX = view.width - view.compoundPaddingLeft - view.compoundPaddingRight
        if (layout.height > roomY + 1) faults += "cut: needs ${layout.height} px, has $roomY"
        for (line in 0 until layout.lineCount) {
            if (layout.getEllipsisCount(line) > 0) faults += "shortened in line $line"
            if (layout.getLineMax(line) > roomX + 1) faults += "line $line is ${layout.getLineMax(line)} px wide, has $roomX"
            val end = layout.getLineEnd(line)
            val words = layout.text
            if (end in 1 until words.length && words[end - 1].isLetter() && words[end].isLetter()) faults += "breaks inside a word: …${words.substring(maxOf(0, end - 6), end)}|${words.substring(end, minOf(words.length, end + 6))}"
        }
    }
    val smallest = view.resources.getDimension(gritbook.shell.R.dimen.note)
    if (view.textSize < smallest - 0.5f) faults += "letters of ${view.textSize} px, least is $smallest"
    faults.map { "${named(view)}: $it" }
}

/** Pairs of siblings that lie on one another, where both show something. */
fun overlaps(root: View): List<String> {
    val shows = { view: View -> view !is ViewGroup || view.background != null || seen(view).any { it is TextView } }
    return seen(root).filterIsInstance<ViewGroup>().filter { it !is android.widget.FrameLayout }.flatMap { group ->
        val children = (0 until group.childCount).map(group::getChildAt).filter { it.visibility == View.VISIBLE && it.width > 0 && it.height > 0 && shows(it) }
        children.indices.flatMap { one ->
            (one + 1 until children.size).mapNotNull { other ->
                val a = Rect().also { children[one].run { it.set(left, top, right, bottom) } }
                val b = Rect().also { children[other].run { it.set(left, top, right, bottom) } }
                if (a.intersect(b) && a.width() > 1 && a.height() > 1) "${named(children[one])} and ${named(children[other])} share $a" else null
            }
        }
    }
}

/** Children that stick out of a parent that does not scroll. */
fun sticksOut(root: View): List<String> = seen(root).filterIsInstance<ViewGroup>().flatMap { group ->
    val scrolls = group is android.widget.ScrollView || group is android.widget.HorizontalScrollView
    (0 until group.childCount).map(group::getChildAt).filter { it.visibility == View.VISIBLE }.mapNotNull { child ->
        val out = child.left < -1 || child.right > group.width + 1 || (!scrolls && (child.top < -1 || child.bottom > group.height + 1))
        if (out) "${named(child)} at ${child.left},${child.top} to ${child.right},${child.bottom} in ${named(group)} of ${group.width} by ${group.height}" else null
    }
}

/** What can be touched and is smaller than a glove needs. */
fun smallTargets(root: View): List<String> {
    val least = root.resources.getDimensionPixelSize(gritbook.shell.R.dimen.touch)
    val density = root.resources.displayMetrics.xdpi / 25.4f
    return seen(root).filter { it.isClickable && it.isEnabled && it.hasOnClickListeners() }.filter { it.width < least - 1 || it.height < least - 1 }
        .map { "${named(it)}: ${"%.1f".format(it.width / density)} by ${"%.1f".format(it.height / density)} mm" }
}

/** What stands under the thumb and is not wholly seen, before anything is scrolled or after all of it is: the keys that pages are for. */
fun keysOutOfSight(root: View): List<String> {
    fun inFoot(view: View) = generateSequence(view.parent) { it.parent }.any { it is gritbook.shell.frame.Foot }
    val keys = seen(root).filter { (it.getTag(gritbook.shell.R.id.main_key) == true && inFoot(it)) || it.id == gritbook.shell.R.id.thumb_arc }
    fun hidden(when_: String) = keys.filterNot { key ->
        val part = Rect()
        key.getGlobalVisibleRect(part) && part.height() >= key.height && part.width() >= key.width
    }.map { "${named(it)} is not wholly seen, $when_" }
    val scrolls = seen(root).filterIsInstance<android.widget.ScrollView>()
    val first = hidden("at first")
    val places = scrolls.map { it.scrollY }
    scrolls.forEach { it.scrollTo(0, Int.MAX_VALUE / 4) }
    val then = hidden("scrolled to the end")
    scrolls.zip(places) { scroll, place -> scroll.scrollTo(0, place) }
    return first + then
}

/** Everything of the above; empty where a page is fit to be shown. */
fun faults(root: View): List<String> = faultsOfWords(root) + overlaps(root) + sticksOut(root) + smallTargets(root)

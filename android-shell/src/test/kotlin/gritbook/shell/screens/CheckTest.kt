package gritbook.shell.screens

import android.app.Activity
import android.content.Intent
import android.net.Uri
import gritbook.core.EntryBody
import gritbook.core.GradeSource
import gritbook.core.LevelCode
import gritbook.core.Liquid
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraIsLeft
import gritbook.shell.cameraTakes
import gritbook.shell.carry.Shots
import gritbook.shell.checkKey
import gritbook.shell.pump
import gritbook.shell.thumb
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf

@RunWith(RobolectricTestRunner::class)
class CheckTest {
    @get:Rule
    val bench = Bench()

    private fun checks(pump: String) = bench.book { it.effective(pump) }.mapNotNull { (it.entry.body as? EntryBody.BoxCheck)?.check }

    @Test
    fun sandPhotographedThenSavedInUnderTenTouchesWithTheReading() {
        bench.start()
        val pump = bench.pump("Otter", 18_250.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.picture("check_liquid")
        assertTrue(bench.texts(), "Sand" in bench.texts())
        bench.touch(R.id.liquid_muddy)
        bench.picture("check_rest")
        bench.drag(R.id.tape, -0.4f)
        bench.touch(R.id.save)
        val check = checks(pump).single()
        assertEquals(LevelCode.SAND, check.level)
        assertEquals(GradeSource.MEASURED, check.levelSource)
        assertEquals(Liquid.MUDDY, check.liquid)
        assertTrue("${check.pumpM3}", check.pumpM3!! > 18_260.0)
        assertEquals(listOf(Photos.sha256(Photos.demo("sand"))), check.photos)
        assertEquals("pump", bench.screen.at.screen)
        bench.picture("pump")
        println("box check with total: ${bench.touches} touches")
        assertTrue("${bench.touches} touches", bench.touches < 10)
        assertEquals(emptyList<String>(), Shots.folder(bench.app).list()!!.toList())
    }

    @Test
    fun photoRefusedThenReasonIsToldAndOneTouchTakesItAgain() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.bad("no_card.jpg"))
        assertNotNull(bench.activity.findViewById(R.id.refused))
        bench.picture("check_refused")
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("some_sand"))
        assertNull(bench.activity.findViewById(R.id.refused))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        val check = checks(pump).single()
        assertEquals(LevelCode.SOME_SAND, check.level)
        assertEquals("the refused photo is not kept", 1, check.photos.size)
    }

    @Test
    fun cameraMissingThenLevelByEyeStillMakesACheck() {
        bench.start()
        val pump = bench.pump("Otter")
        shadowOf(bench.app).checkActivities(true)
        bench.touch(bench.checkKey("Otter"))
        assertTrue(bench.texts(), "no camera" in bench.texts())
        bench.touch(R.id.by_eye)
        bench.touch(R.id.level_lumps)
        bench.touch(R.id.liquid_oily)
        bench.touch(R.id.save)
        val check = checks(pump).single()
        assertEquals(LevelCode.LUMPS, check.level)
        assertEquals(GradeSource.EYE, check.levelSource)
        assertEquals(emptyList<String>(), check.photos)
    }

    @Test
    fun cameraLeftWithoutAPhotoThenTheQuestionStands() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        assertNotNull(bench.activity.findViewById(R.id.photograph))
        assertEquals(emptyList<String>(), bench.screen.draft.list("shots"))
    }

    @Test
    fun cameraGivesAnEmptyFileThenItIsToldAndNothingIsLost() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        val empty = java.io.File.createTempFile("empty", ".jpg")
        bench.cameraTakes(empty)
        assertTrue(bench.texts(), "did not arrive" in bench.texts())
        assertEquals(emptyList<String>(), bench.screen.draft.list("shots"))
    }

    @Test
    fun processEndsBehindTheCameraThenThePhotoArrivesAndIsRead() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        bench.die()
        @Suppress("DEPRECATION")
        val target = asked.intent.getParcelableExtra<Uri>(android.provider.MediaStore.EXTRA_OUTPUT)!!
        bench.activity.contentResolver.openOutputStream(target, "w")!!.use { it.write(Photos.demo("sand").readBytes()) }
        shadowOf(bench.activity as Activity).callOnActivityResult(asked.requestCode, Activity.RESULT_OK, null)
        bench.settle()
        assertTrue(bench.texts(), "Sand" in bench.texts())
        assertEquals(1, bench.screen.draft.list("shots").size)
    }

    @Test
    fun processEndsBeforeSavingThenEveryAnswerIsBack() {
        bench.start()
        val pump = bench.pump("Otter", 500.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_clear)
        bench.touch(R.id.low)
        bench.drag(R.id.tape, -0.3f)
        val total = bench.screen.draft.text("total")
        bench.die()
        bench.settle()
        assertEquals("check", bench.screen.at.screen)
        assertTrue(bench.texts(), "Some sand" in bench.texts())
        bench.touch(R.id.save)
        val check = checks(pump).single()
        assertEquals(Liquid.CLEAR, check.liquid)
        assertEquals(true, check.liquidLow)
        assertEquals(total.toDouble(), check.pumpM3!!, 0.0)
        assertEquals(LevelCode.SOME_SAND, check.level)
    }

    @Test
    fun photoDeletedUnderUsThenItIsToldAndTheRestIsKept() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_grey)
        Shots.folder(bench.app).listFiles()!!.forEach { it.delete() }
        bench.die()
        bench.settle()
        assertTrue(bench.texts(), "is gone" in bench.texts())
        assertEquals("GREY", bench.screen.draft.text("liquid"))
    }

    @Test
    fun photoPickedFromStorageThenItIsReadLikeOneOfTheCamera() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        bench.touch(R.id.pick)
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        assertEquals(Intent.ACTION_OPEN_DOCUMENT, asked.intent.action)
        val picked = Uri.parse("content://elsewhere/1")
        shadowOf(bench.activity.contentResolver).registerInputStream(picked, Photos.demo("lumps").inputStream())
        shadowOf(bench.activity as Activity).receiveResult(asked.intent, Activity.RESULT_OK, Intent().setData(picked))
        bench.settle()
        assertTrue(bench.texts(), "Lumps" in bench.texts())
        bench.touch(R.id.liquid_muddy)
        bench.touch(R.id.save)
        assertEquals(listOf(Photos.sha256(Photos.demo("lumps"))), checks(pump).single().photos)
    }

    @Test
    fun pickedPhotoCannotBeOpenedThenItIsToldAndNothingIsLost() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        bench.touch(R.id.pick)
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        val gone = Uri.parse("content://elsewhere/gone")
        shadowOf(bench.activity.contentResolver).registerInputStreamSupplier(gone) { throw SecurityException("refused") }
        shadowOf(bench.activity as Activity).receiveResult(asked.intent, Activity.RESULT_OK, Intent().setData(gone))
        bench.settle()
        assertTrue(bench.texts(), "did not arrive" in bench.texts())
    }

    @Test
    fun settledSolidsTypedWithACommaThenTheyAreSaved() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        bench.touch(R.id.by_eye)
        bench.touch(R.id.level_some_sand)
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.settled_line)
        bench.type(R.id.settled, "12,5")
        bench.touch(R.id.done)
        bench.touch(R.id.save)
        assertEquals(12.5, checks(pump).single().settledMl!!, 0.0)
    }

    @Test
    fun gradesGivenWithinTheCheckThenTheyAreSavedWithIt() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraIsLeft()
        bench.touch(R.id.by_eye)
        bench.touch(R.id.level_sand)
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.grades_key)
        bench.thumb(3)
        bench.touch(R.id.next)
        bench.thumb(1)
        bench.touch(R.id.back)
        bench.touch(R.id.save)
        val grades = bench.book { it.pumpSummary(pump) }.grades.associate { (it.part.name + it.cup?.name) to it.counts.toInt() }
        assertEquals(mapOf("CUPA" to 3, "CUPB" to 1), grades)
    }

    @Test
    fun photoWithoutACardThenTwoPointsOnARulerGiveTheScale() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.bad("no_card.jpg"))
        bench.touch(R.id.ruler)
        bench.picture("ruler")
        bench.type(R.id.length, "100")
        val ruler = bench.find<gritbook.shell.look.photo.RulerPhotoView>(R.id.seen)
        bench.touch(R.id.save)
        assertEquals("crosses that nobody laid are no scale", "ruler", bench.screen.at.screen)
        ruler.performAccessibilityAction(R.id.ruler_left, null)
        ruler.performAccessibilityAction(android.view.accessibility.AccessibilityNodeInfo.ACTION_CLICK, null)
        ruler.performAccessibilityAction(R.id.ruler_right, null)
        val crosses = ruler.pointsPx.copyOf()
        bench.touch(R.id.save)
        assertEquals("check", bench.screen.at.screen)
        val kept = bench.screen.draft.json.getJSONObject("ruler")
        val apart = Math.hypot((crosses[2] - crosses[0]).toDouble(), (crosses[3] - crosses[1]).toDouble())
        assertEquals(apart / 100, kept.getDouble("px_per_mm"), 1e-6)
        assertNull("the card is no longer asked for", bench.texts().lines().find { "mark of the debris card" in it })
        assertEquals(0, checks(pump).size)
    }

    @Test
    fun grainTouchedOnThePhotoThenItsSizeIsSaid() {
        bench.start()
        bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        val seen = bench.find<gritbook.shell.look.photo.OverlayPhotoView>(R.id.seen)
        assertTrue("${seen.grains.size} grains", seen.grains.size > 300)
        seen.nextGrain()
        assertTrue(seen.contentDescription.toString(), Regex("[0-9.]+ mm").containsMatchIn(seen.contentDescription))
    }

    @Test
    @org.robolectric.annotation.Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun phoneInSpanishThenTheRefusalSpeaksSpanish() {
        bench.start()
        bench.pump("Nutria")
        bench.touch(bench.checkKey("Nutria"))
        bench.cameraTakes(Photos.bad("no_card.jpg"))
        assertNotNull(bench.activity.findViewById(R.id.refused))
        assertTrue(bench.texts(), "tarjeta" in bench.texts() || "marca" in bench.texts())
    }

    @Test
    fun checkThrownAwayThenNothingOfItIsLeftAndOnlyAfterASecondWord() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("some_sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.discard)
        assertEquals("GREY", bench.screen.draft.text("liquid"))
        org.robolectric.shadows.ShadowAlertDialog.getLatestAlertDialog().getButton(android.content.DialogInterface.BUTTON_POSITIVE).performClick()
        bench.settle()
        assertEquals("home", bench.screen.at.screen)
        assertEquals(0, checks(pump).size)
        assertEquals(0, Shots.folder(bench.app).list()!!.size)
    }

    @Test
    fun secondPhotoTakenThenBothAreKeptAndTheFirstStaysTheReading() {
        bench.start()
        val pump = bench.pump("Otter")
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.photos_line)
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.bad("no_card.jpg"))
        assertTrue(bench.texts(), "Sand" in bench.texts())
        bench.touch(R.id.save)
        val check = checks(pump).single()
        assertEquals(listOf("sand").map { Photos.sha256(Photos.demo(it)) } + Photos.sha256(Photos.bad("no_card.jpg")), check.photos)
        assertEquals(LevelCode.SAND, check.level)
    }
}
